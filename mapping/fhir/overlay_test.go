package fhir_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/sample"
	"enbloc/mapping/term"
)

// hospital is the ConceptMap of an invented hospital: a code of its own for ESD
// of the stomach, one for all ESD, one for the stomach with a display that JSON
// has to escape.
const hospital = `{"resourceType":"ConceptMap","group":[{"source":"https://enbloc.example/fhir/CodeSystem/enbloc",
 "target":"https://hospital.example/local","element":[
  {"code":"technique-esd","target":[
   {"code":"HTEST-ESD-S","display":"ESD stomach","equivalence":"equivalent","dependsOn":[
     {"property":"https://enbloc.example/fhir/ValueSet/enbloc-organ","value":"organ-stomach"}]},
   {"code":"HTEST-ESD-C","display":"ESD colon","equivalence":"equivalent","dependsOn":[
     {"property":"https://enbloc.example/fhir/ValueSet/enbloc-organ","value":"organ-colon"}]},
   {"code":"HTEST-ESD","equivalence":"wider"}]},
  {"code":"organ-stomach","target":[{"code":"HTEST-ST","display":"\"Magen\" <1>","equivalence":"equal"}]}]}]}`

type concept struct {
	Coding []struct{ System, Code, Display string }
}

// The site's codes stand behind ours, and nothing that was there goes.
func TestSiteCodesAreAdded(t *testing.T) {
	t.Parallel()
	site, err := term.ReadOverlay([]byte(hospital))
	require.NoError(t, err)
	opt, rep := options(), gastricESD(t)
	plain, err := fhir.Map(rep, nil, opt)
	require.NoError(t, err)
	opt.Site = site
	with, err := fhir.Map(rep, nil, opt)
	require.NoError(t, err)
	require.Len(t, with.Resources, len(plain.Resources))
	for i, r := range with.Resources {
		var before, after struct{ Code concept }
		require.NoError(t, json.Unmarshal(plain.Resources[i].Body, &before))
		require.NoError(t, json.Unmarshal(r.Body, &after))
		if r.Role != "lesion/1/resection" {
			continue
		}
		n := len(before.Code.Coding)
		require.Equal(t, before.Code.Coding, after.Code.Coding[:n])
		var added []string
		for _, c := range after.Code.Coding[n:] {
			require.Equal(t, "https://hospital.example/local", c.System)
			added = append(added, c.Code)
		}
		require.ElementsMatch(t, []string{"HTEST-ESD", "HTEST-ESD-S"}, added, "not the colon's")
	}
	require.Contains(t, string(fhir.Bundle(with)), `"display":"\"Magen\" <1>"`)
}

// With a site's codes every case still maps, and without the site's map its
// codes are refused like any other that is in no table.
func TestSiteCodesAreChecked(t *testing.T) {
	t.Parallel()
	site, err := term.ReadOverlay([]byte(hospital))
	require.NoError(t, err)
	opt, book := options(), assess.DefaultBook()
	opt.Site = site
	refused := 0
	for _, c := range sample.Cover(sample.CoverAll / 10) {
		rep := c.Merged()
		g, err := fhir.Map(rep, book.Assess(rep), opt)
		require.NoError(t, err)
		if strings.Contains(string(fhir.Bundle(g)), "hospital.example/local") {
			require.Error(t, fhir.Validate(g))
			refused++
		}
	}
	require.NotZero(t, refused)
}
