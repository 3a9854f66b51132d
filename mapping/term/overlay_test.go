package term_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/term"
)

// siteMap is a ConceptMap of an invented hospital; what varies is put into the
// place of its only special target.
const siteMap = `{"resourceType":"ConceptMap","status":"active","group":[{"source":"https://enbloc.example/fhir/CodeSystem/enbloc",
 "target":"https://hospital.example/procedures","element":[
  {"code":"technique-esd","target":[
   {"code":"HTEST-1","display":"ESD stomach","equivalence":"equivalent","dependsOn":[
     {"property":"https://enbloc.example/fhir/ValueSet/enbloc-organ","system":"https://enbloc.example/fhir/CodeSystem/enbloc","value":"organ-stomach"}]},
   {"code":"HTEST-2","display":"ESD","equivalence":"wider"}]},
  {"code":"site-antrum","target":[{"code":"HTEST-A","equivalence":"equal"}]},
  {"code":"technique-emr","target":[{"equivalence":"unmatched"}]},
  {"code":"procedure-closure","target":[{"code":"HTEST-3","equivalence":"equivalent","dependsOn":[
     {"property":"https://enbloc.example/fhir/ValueSet/enbloc-organ","value":"organ-colon"}]}]}]}]}`

func TestOverlay(t *testing.T) {
	t.Parallel()
	o, err := term.ReadOverlay([]byte(siteMap))
	require.NoError(t, err)
	const system = "https://hospital.example/procedures"
	esd := term.Local{System: system, Code: "HTEST-2", Display: "ESD"}
	stomach := term.Local{System: system, Code: "HTEST-1", Display: "ESD stomach", Organ: "organ-stomach"}
	require.Equal(t, []term.Local{stomach, esd}, o.For("technique-esd", "organ-stomach"))
	require.Equal(t, []term.Local{esd}, o.For("technique-esd", "organ-colon"))
	require.Equal(t, []term.Local{esd}, o.For("technique-esd", ""))
	require.Empty(t, o.For("technique-emr", ""), "unmatched is no code")

	gaps := map[string][]string{}
	for _, g := range o.Unmapped() {
		gaps[g.Concept.Code] = g.Organs
	}
	require.NotContains(t, gaps, "technique-esd")
	require.NotContains(t, gaps, "site-antrum")
	require.Contains(t, gaps, "technique-emr")
	require.Empty(t, gaps["technique-emr"], "for no organ")
	require.Equal(t, []string{"organ-oesophagus", "organ-stomach", "organ-duodenum", "organ-rectum"}, gaps["procedure-closure"])
	require.NotContains(t, gaps, "jnet-2a", "nobody bills by it")
}

func TestWithoutOverlayAllIsUnmapped(t *testing.T) {
	t.Parallel()
	want := 0
	for _, c := range term.Concepts() {
		for _, g := range term.SiteGroups {
			if c.Group == g {
				want++
			}
		}
	}
	require.Len(t, term.Overlay{}.Unmapped(), want)
	require.Empty(t, term.Overlay{}.For("technique-esd", "organ-stomach"))
}

// A file with a mistake is refused whole, and the words name the mistake.
func TestOverlayRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ old, replaced, says string }{
		{`"ConceptMap"`, `"ValueSet"`, "not a FHIR R4 ConceptMap"},
		{`"technique-emr"`, `"technique-ems"`, "none of our concepts"},
		{`"equal"`, `"narrower"`, `"narrower"`},
		{`"equal"`, `"relatedto"`, "what the report does not"},
		{`"equal"`, `""`, "equivalence"},
		{`"HTEST-A"`, `" A"`, "space"},
		{`"HTEST-A"`, `""`, "empty"},
		{`"ESD stomach"`, `"ESD\nstomach"`, "one line"},
		{`"ESD stomach"`, `"` + strings.Repeat("x", 251) + `"`, "250"},
		{`https://hospital.example/procedures`, `http://snomed.info/sct`, "standard code system"},
		{`https://hospital.example/procedures`, `procedures`, "absolute URI"},
		{`"source":"https://enbloc.example/fhir/CodeSystem/enbloc"`, `"source":"https://hospital.example/x"`, "source"},
		{`"organ-colon"`, `"site-antrum"`, "none of our organs"},
		{`"property":"https://enbloc.example/fhir/ValueSet/enbloc-organ","value"`, `"property":"sex","value"`, `"sex"`},
		{`"HTEST-2"`, `"HTEST-1"`, "two displays"},
		{`https://hospital.example/procedures`, `https://enbloc.example/fhir/CodeSystem/enbloc`, "our own"},
		{`"status"`, `"status`, "reading a ConceptMap"},
	} {
		broken := strings.Replace(siteMap, c.old, c.replaced, 1)
		require.NotEqual(t, siteMap, broken)
		_, err := term.ReadOverlay([]byte(broken))
		require.ErrorContains(t, err, c.says)
	}
}
