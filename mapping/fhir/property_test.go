package fhir_test

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/mapping/term"
)

// The order of what has no order changes nothing: results, lesions, events.
func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	book := assess.DefaultBook()
	dice := rand.New(rand.NewPCG(1, 2))
	for seed := range uint64(40) {
		rep := sample.Make(seed).Merged()
		results := book.Assess(rep)
		g, err := fhir.Map(rep, results, options())
		require.NoError(t, err)
		want := string(fhir.Bundle(g))
		shuffled := slices.Clone(results)
		dice.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		g, err = fhir.Map(rep, shuffled, options())
		require.NoError(t, err)
		require.Equal(t, want, string(fhir.Bundle(g)), "results, seed %d", seed)

		// Without results there are no pointers, so lesions and events may move too.
		g, err = fhir.Map(rep, nil, options())
		require.NoError(t, err)
		want = string(fhir.Bundle(g))
		rep.Lesions, rep.Events = slices.Clone(rep.Lesions), slices.Clone(rep.Events)
		slices.Reverse(rep.Lesions)
		slices.Reverse(rep.Events)
		g, err = fhir.Map(rep, nil, options())
		require.NoError(t, err)
		require.Equal(t, bodies(t, want), bodies(t, string(fhir.Bundle(g))), "lesions and events, seed %d", seed)
	}
}

// bodies is a Bundle without narratives, which tell events as the report lists
// them.
func bodies(t *testing.T, bundle string) string {
	t.Helper()
	var b struct {
		Entry []struct{ Resource map[string]any }
	}
	require.NoError(t, json.Unmarshal([]byte(bundle), &b))
	for _, e := range b.Entry {
		delete(e.Resource, "text")
	}
	out, err := json.Marshal(b)
	require.NoError(t, err)
	return string(out)
}

// Mapping twice gives the same bytes, also at the same time.
func TestBytesAreStable(t *testing.T) {
	t.Parallel()
	rep := withHistology(t, report.HistologyFinal)
	want := fhir.Bundle(mapped(t, rep))
	for range 4 {
		t.Run("", func(t *testing.T) {
			t.Parallel()
			require.Equal(t, string(want), string(fhir.Bundle(mapped(t, rep))))
		})
	}
}

// Unknown never becomes a value: with every field of an examination and a
// histology that may be absent set to an absence, no Observation about them has
// a value, and each says why (R4, Observation.dataAbsentReason).
func TestUnknownNeverBecomesAValue(t *testing.T) {
	t.Parallel()
	reasons := map[report.Absence]string{report.Unknown: "unknown", report.NotAssessed: "not-performed", report.NotApplicable: "not-applicable"}
	for absence, reason := range reasons {
		rep := gastricESD(t)
		a := string(absence)
		var e report.Examination
		require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(`{"organ":"stomach","third":"?","mucosa":"?","size_long_mm":"?","size_short_mm":"?",
			"lst":"?","ulceration":"?","access":"?","pedicle":"?","nice":"?","jnet":"?","demarcation_line":"?","microvascular_pattern":"?",
			"non_extension_sign":"?","non_lifting_sign":"?","eus_depth":"?","predicted_depth":"?","suspected_malignancy":"?"}`, "?", a)), &e))
		rep.Lesions[0].Examination = e
		require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(`{"status":"final","issued_at":"2026-02-10T14:00:00+01:00","grade":"?","pt":"?",
			"depth_um":"?","horizontal_margin":"?","vertical_margin":"?","lymphatic_invasion":"?","venous_invasion":"?","budding":"?","tumour_long_mm":"?"}`,
			"?", a)), &rep.Lesions[0].Histology))
		checked := 0
		for _, r := range mapped(t, rep).Resources {
			fact := strings.HasPrefix(r.Role, "lesion/1/examination/") || strings.HasPrefix(r.Role, "lesion/1/histology/")
			if !fact || r.Role == "lesion/1/examination/lesion-location" {
				continue
			}
			var body map[string]any
			require.NoError(t, json.Unmarshal(r.Body, &body))
			for name := range body {
				require.False(t, strings.HasPrefix(name, "value"), "%s has %s", r.Role, name)
			}
			require.Contains(t, string(r.Body), `"dataAbsentReason":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/data-absent-reason","code":"`+reason+`"`)
			checked++
		}
		require.Equal(t, 24, checked)
	}
}

// A field that was left out gives no resource at all.
func TestLeftOutIsNotSent(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	rep.Before, rep.Images, rep.Plan = nil, nil, nil
	rep.Lesions[0] = report.Lesion{Number: 1, Examination: report.Examination{Organ: report.Stomach}}
	kinds := map[string]int{}
	for _, r := range mapped(t, rep).Resources {
		kinds[r.Type]++
	}
	require.Equal(t, map[string]int{"Device": 1, "BodyStructure": 1, "Condition": 1, "Procedure": 1,
		"Observation": 6, "DiagnosticReport": 1, "Provenance": 1}, kinds) // age, gas, cap and their panel; location and its panel
}

// Decimals reach the record with the digits they were written with.
func TestDigitsAreKept(t *testing.T) {
	t.Parallel()
	for _, r := range mapped(t, gastricESD(t)).Resources {
		if r.Role == "lesion/1/examination/lesion-size-short" {
			require.Contains(t, string(r.Body), `"value":18.50,`)
			return
		}
	}
	t.Fatal("no size")
}

// Hostile text in every free field stays text: the narratives are well-formed
// XML of the elements and attributes that FHIR allows
// (hl7.org/fhir/R4/narrative.html), and nothing blank or broken is sent.
func TestHostileText(t *testing.T) {
	t.Parallel()
	const hostile = "</div><script>alert(1)</script> <img src=x onerror=1> \u0000\u0007 &amp; ]]> \"' \ufffe \u2028 {{.}}"
	rep := withHistology(t, report.HistologyFinal)
	rep.StatusReason, rep.Status = hostile, report.Amended
	rep.Before.IndicationText, rep.Before.TechniqueReason = hostile, "\u0001 \t"
	rep.Before.Earlier[0].Text = hostile
	rep.Lesions[0].Comment, rep.Lesions[0].Resection.StopText = hostile, hostile
	rep.Lesions[0].Specimen.Text, rep.Lesions[0].Histology.Text = hostile, string([]byte{0xff, 0xfe, 'x'})
	rep.Lesions[0].Histology.LabReport.Value = hostile
	rep.Images[0].Title = hostile
	rep.Plan.Text, rep.Plan.FollowUps[0].Reason = hostile, hostile
	e := bleeding(rep)
	e.Text = hostile
	rep.Events = []report.Event{e}
	results := []assess.Result{{Rule: hostile, Title: hostile, Answer: hostile, Reason: hostile, Source: hostile, Guideline: hostile,
		Inputs: []string{"/lesions/0/" + hostile}, Missing: []string{hostile}, Cautions: []string{hostile}, Lesion: 1,
		Confirmed: assess.Memory, Values: map[string]any{hostile: hostile}, Risk: &assess.Risk{Of: hostile, Setting: hostile}}}
	g, err := fhir.Map(rep, results, options())
	require.NoError(t, err)
	found := 0
	for _, r := range g.Resources {
		require.True(t, json.Valid(r.Body), r.Role)
		var body struct{ Text struct{ Div string } }
		require.NoError(t, json.Unmarshal(r.Body, &body))
		if body.Text.Div != "" {
			requireNarrative(t, body.Text.Div)
			found++
		}
	}
	require.Greater(t, found, 4)
}

// requireNarrative parses a div with the standard library's XML decoder.
func requireNarrative(t *testing.T, div string) {
	t.Helper()
	allowed := set("div", "h2", "h3", "h4", "p", "table", "thead", "tbody", "tr", "th", "td", "ul", "ol", "li", "b")
	dec := xml.NewDecoder(strings.NewReader(div))
	for {
		token, err := dec.Token()
		if err == io.EOF {
			return
		}
		require.NoError(t, err)
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		require.True(t, allowed[start.Name.Local], start.Name.Local)
		require.Equal(t, "http://www.w3.org/1999/xhtml", start.Name.Space)
		for _, attribute := range start.Attr {
			require.Equal(t, "xmlns", attribute.Name.Local)
		}
	}
}

// Every code in every Bundle stands in one of the two tables with exactly that
// display, and codes that need a licence are sent only under one: checked here
// by a plain walk over the decoded JSON, apart from Validate.
func TestEveryCodeIsInATable(t *testing.T) {
	t.Parallel()
	licence := map[string]term.Licence{}
	for _, c := range term.Codes() {
		licence[c.System+"|"+c.Code] = c.Licence
	}
	book, needed := assess.DefaultBook(), 0
	for i, c := range sample.Cover(60) {
		opt := options()
		opt.Licensed = i%2 == 0
		rep := c.Merged()
		g, err := fhir.Map(rep, book.Assess(rep), opt)
		require.NoError(t, err)
		var bundle any
		require.NoError(t, json.Unmarshal(fhir.Bundle(g), &bundle))
		walkCodings(bundle, func(system, code, display string) {
			require.True(t, term.Known(system, code, display), "%s|%s %q", system, code, display)
			if licence[system+"|"+code] == term.SNOMEDLicensed {
				require.True(t, opt.Licensed, "%s needs a licence", code)
				needed++
			}
		})
	}
	require.Positive(t, needed)
}

func walkCodings(v any, visit func(system, code, display string)) {
	switch v := v.(type) {
	case map[string]any:
		for name, item := range v {
			list, _ := item.([]any)
			if name == "coding" || name == "security" {
				for _, c := range list {
					coding := c.(map[string]any)
					system, _ := coding["system"].(string)
					code, _ := coding["code"].(string)
					display, _ := coding["display"].(string)
					visit(system, code, display)
				}
				continue
			}
			walkCodings(item, visit)
		}
	case []any:
		for _, item := range v {
			walkCodings(item, visit)
		}
	}
}
