package fhir_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/mapping/term"
)

type derived struct {
	Status           string
	Code             struct{ Coding []struct{ Code string } }
	Method           struct{ Text string }
	Focus            []struct{ Reference string }
	DerivedFrom      []struct{ Reference string }
	DataAbsentReason *struct{ Text string }
	Note             []struct{ Text string }
	ValueQuantity    *struct {
		Value json.Number
		Code  string
	}
	ValueCodeableConcept *struct {
		Text   string
		Coding []struct{ Code string }
	}
	Component []struct {
		Code          struct{ Text string }
		ValueQuantity *struct {
			Value json.Number
			Code  string
		}
		ValueRange *struct{ Low, High struct{ Value json.Number } }
	}
}

func resource(t *testing.T, g graph.Graph, role string) graph.Resource {
	t.Helper()
	for _, r := range g.Resources {
		if r.Role == role {
			return r
		}
	}
	t.Fatalf("no resource has the role %q", role)
	return graph.Resource{}
}

func derivedAt(t *testing.T, g graph.Graph, role string) derived {
	t.Helper()
	var d derived
	require.NoError(t, json.Unmarshal(resource(t, g, role).Body, &d))
	return d
}

func (d derived) from() []string {
	var out []string
	for _, r := range d.DerivedFrom {
		out = append(out, r.Reference)
	}
	return out
}

// A result names its rule, edition and book, points to the Observation of every
// input, and carries the published figure with its interval.
func TestDerivedResult(t *testing.T) {
	t.Parallel()
	g, err := fhir.Map(withHistology(t, report.HistologyFinal), []assess.Result{{
		Rule: "R4.bleed.bestj", Title: "Risk of delayed bleeding", Guideline: "G", Edition: "2021", Source: "S", Lesion: 1,
		Confirmed: assess.Primary, Answer: "intermediate", Values: map[string]any{"points": 2.0, "ci95": []float64{4.8, 7.8}},
		Risk:   &assess.Risk{Of: "bleeding", Pct: 6.1, CILow: 4.8, CIHigh: 7.8, Events: 65, Denominator: 1059},
		Reason: "Two points.", Cautions: []string{"Mind this."},
		Inputs: []string{"/before/antithrombotic_history", "/before/antithrombotics/0/management", "/before/haemodialysis",
			"/lesions/0/examination/third", "/lesions/0/resection/phases", "/session/start"}}}, options())
	require.NoError(t, err)
	d := derivedAt(t, g, "lesion/1/derived/r4-bleed-bestj")
	require.Equal(t, "final", d.Status)
	require.Equal(t, "r4-bleed-bestj", d.Code.Coding[0].Code)
	require.Equal(t, "G, 2021, rule book 0.0.0-test", d.Method.Text)
	require.Equal(t, "risk-intermediate", d.ValueCodeableConcept.Coding[0].Code)
	require.Equal(t, resource(t, g, "lesion/1/site").Reference(), d.Focus[0].Reference)
	want := []string{"before/antithrombotic-list", "before/antithrombotic-agent/1", "before/haemodialysis", "lesion/1/examination/lesion-location",
		"lesion/1/resection-facts/resection-step/1", "lesion/1/resection-facts/resection-step/2", "lesion/1/resection-facts/resection-step/3",
		"lesion/1/resection-facts/resection-step/4", "lesion/1/resection-facts/resection-step/5"}
	for i := range want {
		want[i] = resource(t, g, want[i]).Reference()
	}
	require.Equal(t, want, d.from())
	text := ""
	for _, n := range d.Note {
		text += n.Text + "\n"
	}
	require.Contains(t, text, "Two points.")
	require.Contains(t, text, "Inputs that are not Observations: session, start.")
	require.Contains(t, text, "Caution: Mind this.")
	require.Contains(t, text, "licensed clinicians", "every derived result defers")
	require.Len(t, d.Component, 6) // interval, points, risk, its interval, its counts, confirmation
}

// What cannot be assessed has no value, says so and names what is missing.
func TestDerivedCannotBeAssessed(t *testing.T) {
	t.Parallel()
	g, err := fhir.Map(gastricESD(t), []assess.Result{{Rule: "R2.gastric.curability.ecura", Title: "Curability", Lesion: 1,
		Answer: assess.CannotBeAssessed, Confirmed: assess.SecondHand, Reason: "No histology.",
		Inputs: []string{"/lesions/0/resection/pieces"}, Missing: []string{"/lesions/0/histology/depth_um"}, Decides: "B or C-2."}}, options())
	require.NoError(t, err)
	d := derivedAt(t, g, "lesion/1/derived/r2-gastric-curability-ecura")
	require.Nil(t, d.ValueCodeableConcept)
	require.Contains(t, d.DataAbsentReason.Text, "Cannot be assessed")
	require.Contains(t, string(resource(t, g, "lesion/1/derived/r2-gastric-curability-ecura").Body), `"valueString":"/lesions/0/histology/depth_um"`)
	require.Equal(t, "Missing: lesions 1, histology, depth um. B or C-2.", d.Note[1].Text)
}

// A result that rests on histology is as settled as it, is about the diagnosis,
// and comes with the histology's part.
func TestDerivedFromHistology(t *testing.T) {
	t.Parallel()
	result := []assess.Result{{Rule: "R2.gastric.curability.ecura", Lesion: 1, Answer: "B", Confirmed: assess.SecondHand,
		Inputs: []string{"/lesions/0/histology/depth_um"}}}
	g, err := fhir.Map(withHistology(t, report.HistologyPreliminary), result, options())
	require.NoError(t, err)
	d := derivedAt(t, g, "lesion/1/derived/r2-gastric-curability-ecura")
	require.Equal(t, "preliminary", d.Status)
	require.Equal(t, "ecura-b", d.ValueCodeableConcept.Coding[0].Code)
	require.Equal(t, resource(t, g, "lesion/1/condition").Reference(), d.Focus[0].Reference)
	require.Contains(t, string(resource(t, g, "report/pathology").Body), resource(t, g, "lesion/1/derived/r2-gastric-curability-ecura").UUID)
	require.NotContains(t, string(resource(t, g, "report/endoscopy").Body), resource(t, g, "lesion/1/derived/r2-gastric-curability-ecura").UUID)
}

// A figure goes out with the unit of the part it rounds, and as words when no
// part says which unit it has.
func TestDerivedFigures(t *testing.T) {
	t.Parallel()
	g, err := fhir.Map(gastricESD(t), []assess.Result{
		{Rule: "R10.metric.specimen_area", Lesion: 1, Answer: "1154.5", Confirmed: assess.Arithmetic, Values: map[string]any{"area_mm2": 1154.535},
			Inputs: []string{"/lesions/0/specimen/size_long_mm"}},
		{Rule: "R99.unknown", Title: "A younger rule", Lesion: 1, Answer: "7", Confirmed: assess.Memory, Inputs: []string{"/lesions/0/resection/pieces"}},
	}, options())
	require.NoError(t, err)
	d := derivedAt(t, g, "lesion/1/derived/r10-metric-specimen-area")
	require.Equal(t, json.Number("1154.5"), d.ValueQuantity.Value)
	require.Equal(t, "mm2", d.ValueQuantity.Code)
	d = derivedAt(t, g, "lesion/1/derived/r99-unknown")
	require.Nil(t, d.ValueQuantity)
	require.Equal(t, "7", d.ValueCodeableConcept.Text)
	require.Equal(t, "derived-result", d.Code.Coding[0].Code)
}

// One rule that answers about several drugs gives several results.
func TestDerivedSeveralOfOneRule(t *testing.T) {
	t.Parallel()
	answer := func(pointer, answer string) assess.Result {
		return assess.Result{Rule: "R14.x", Answer: answer, Confirmed: assess.Primary, Inputs: []string{pointer}}
	}
	g, err := fhir.Map(gastricESD(t), []assess.Result{answer("/before/inr", "b"), answer("/before/asa_class", "a")}, options())
	require.NoError(t, err)
	require.Equal(t, "a", derivedAt(t, g, "session/derived/r14-x").ValueCodeableConcept.Text)
	require.Equal(t, "b", derivedAt(t, g, "session/derived/r14-x/2").ValueCodeableConcept.Text)
}

// Results about what the report does not have are left out.
func TestDerivedAboutNothing(t *testing.T) {
	t.Parallel()
	want := len(mapped(t, gastricESD(t)).Resources)
	g, err := fhir.Map(gastricESD(t), []assess.Result{{Rule: "R", Lesion: 9, Answer: "x"}, {Rule: "R", Event: "none", Answer: "x"}}, options())
	require.NoError(t, err)
	require.Len(t, g.Resources, want)
}

// Severity and seriousness of an event: set by a fact that settles them, never
// guessed, and never "non-serious" for want of facts.
func TestEventSeverity(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	rep.Events = []report.Event{bleeding(rep)}
	mild := rep.Events[0]
	mild.ID, mild.UnplannedNights = "HTEST-EV-2", report.Absent(report.Unknown)
	rep.Events = append(rep.Events, mild)
	g, err := fhir.Map(rep, []assess.Result{{Rule: "R9.ae.asge2010", Event: "HTEST-EV-1", Answer: "moderate", Confirmed: assess.SecondHand,
		Inputs: []string{"/events/0/unplanned_nights"}}}, options())
	require.NoError(t, err)
	var bodies []string
	for _, r := range g.Resources {
		if r.Type == "AdverseEvent" {
			bodies = append(bodies, string(r.Body))
		}
	}
	require.Len(t, bodies, 2)
	require.Contains(t, bodies[0], `"code":"moderate"`)
	require.Contains(t, bodies[0], `"code":"SeriousResultsInHospitalization"`)
	require.NotContains(t, bodies[1], `"severity"`)
	require.NotContains(t, bodies[1], `"seriousness"`)
}

// Every rule that a report can answer has a concept, and so has every part of
// its answers, so that both can be found by code.
func TestEveryRuleHasAConcept(t *testing.T) {
	t.Parallel()
	for _, r := range assess.DefaultBook().Print().Rules {
		if r.Scope == assess.ScopeSeries {
			continue // answered over many reports, never about one
		}
		_, ok := term.Own("derived", term.Slug(r.Rule))
		require.True(t, ok, r.Rule)
	}
	book := assess.DefaultBook()
	for _, c := range sample.Cover(sample.CoverAll) {
		for _, r := range book.Assess(c.Merged()) {
			for name := range r.Values {
				_, ok := term.Own("value", term.Slug(name[strings.LastIndexByte(name, '.')+1:]))
				require.True(t, ok, "%s of %s", name, r.Rule)
			}
		}
	}
}
