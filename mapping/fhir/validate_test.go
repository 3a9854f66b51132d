package fhir_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// replace changes the first resource of a type whose body holds old.
func replace(kind, old, with string) func(t *testing.T, g *graph.Graph) {
	return func(t *testing.T, g *graph.Graph) {
		t.Helper()
		for i, r := range g.Resources {
			if r.Type == kind && strings.Contains(string(r.Body), old) {
				g.Resources[i].Body = json.RawMessage(strings.Replace(string(r.Body), old, with, 1))
				return
			}
		}
		t.Fatalf("no %s holds %s", kind, old)
	}
}

// Faults planted one at a time into a good graph, each of which must be found.
// Several are such as HL7's validator and real servers were seen to accept: a
// wrong display of an own code, an invented code, a reference to nothing, a
// role key twice, an empty panel, no status at all.
func TestValidateFindsPlantedFaults(t *testing.T) {
	t.Parallel()
	const own = "https://enbloc.example/fhir/CodeSystem/enbloc"
	faults := map[string]func(t *testing.T, g *graph.Graph){
		"null":                            replace("Observation", `"status":"final"`, `"status":"final","note":null`),
		"empty string":                    replace("Observation", `"unit":"mm"`, `"unit":""`),
		"blank string":                    replace("Observation", `"unit":"mm"`, `"unit":" \n"`),
		"empty list":                      replace("Observation", `"status":"final"`, `"status":"final","note":[]`),
		"empty object":                    replace("Observation", `"status":"final"`, `"status":"final","method":{}`),
		"no status":                       replace("Observation", `"status":"final",`, ``),
		"the library's default status":    replace("Observation", `"status":"final"`, `"status":"registered"`),
		"a procedure in preparation":      replace("Procedure", `"status":"completed"`, `"status":"preparation"`),
		"no subject":                      replace("Procedure", `"subject":`, `"subjekt":`),
		"no effective time":               replace("Observation", `"effectiveDateTime":`, `"effektiv":`),
		"two values":                      replace("Observation", `"valueQuantity":`, `"valueString":"x","valueQuantity":`),
		"two times":                       replace("Observation", `"effectiveDateTime":`, `"effectivePeriod":{"start":"2026"},"effectiveDateTime":`),
		"a value and its absence":         replace("Observation", `"valueQuantity":`, `"dataAbsentReason":{"text":"x"},"valueQuantity":`),
		"an empty panel":                  replace("Observation", `"hasMember":`, `"hasNember":`),
		"a member twice":                  replace("Observation", `"status":"final"`, `"status":"final","status":"final"`),
		"a wrong display of an own code":  replace("Observation", `"display":"Paris type"`, `"display":"Paris class"`),
		"an own code that does not exist": replace("Observation", `"code":"paris-type"`, `"code":"paris-typ"`),
		"an invented SNOMED code":         replace("Observation", `"code":"373066001"`, `"code":"373066999"`),
		"a missing display":               replace("Observation", `,"display":"Paris type"`, ``),
		"an unknown system":               replace("Observation", `"system":"`+own+`"`, `"system":"https://elsewhere.example"`),
		"a unit that is not UCUM":         replace("Observation", `"code":"mm"`, `"code":"millimetre"`),
		"a reference to nothing":          replace("Observation", `"reference":"urn:uuid:`, `"reference":"urn:uuid:0`),
		"a relative reference":            replace("Observation", `"reference":"urn:uuid:`, `"reference":"Procedure/`),
		"an absolute reference":           replace("Procedure", `"reference":"Patient?identifier=`, `"reference":"https://x/Patient?identifier=`),
		"derived from a procedure":        pointAt("Observation", "hasMember", "Procedure"),
		"a result that is no Observation": pointAt("DiagnosticReport", "result", "Procedure"),
		"a date instead of an instant":    replace("DiagnosticReport", `"issued":"2026-02-03T11:52:00+01:00"`, `"issued":"2026-02-03"`),
		"a time without zone":             replace("Procedure", `"start":"2026-02-03T09:00:00+01:00"`, `"start":"2026-02-03T09:00:00"`),
		"a time without seconds":          replace("Procedure", `"start":"2026-02-03T09:00:00+01:00"`, `"start":"2026-02-03T09:00+01:00"`),
		"no narrative":                    replace("DiagnosticReport", `"text":`, `"texd":`),
		"a provenance without agent":      replace("Provenance", `"agent":`, `"agend":`),
		"another type":                    replace("Observation", `"resourceType":"Observation"`, `"resourceType":"Procedure"`),
		"trailing bytes": func(_ *testing.T, g *graph.Graph) {
			g.Resources[3].Body = append(slices.Clone(g.Resources[3].Body), ' ')
		},
		"cut off":                    func(_ *testing.T, g *graph.Graph) { b := g.Resources[3].Body; g.Resources[3].Body = b[:len(b)-1] },
		"no case key":                replace("Observation", "https://enbloc.example/fhir/sid/case-key", "https://enbloc.example/fhir/sid/kase-key"),
		"another role's key":         func(_ *testing.T, g *graph.Graph) { g.Resources[4].Body = g.Resources[5].Body },
		"a role twice":               func(_ *testing.T, g *graph.Graph) { g.Resources = append(g.Resources, g.Resources[4]) },
		"a UUID of another key":      func(_ *testing.T, g *graph.Graph) { g.Resources[4].UUID = g.Resources[5].UUID },
		"a key in clear":             func(_ *testing.T, g *graph.Graph) { g.Resources[4].Key = "HTEST-MRN-1" },
		"a case key in clear":        func(_ *testing.T, g *graph.Graph) { g.CaseKey = "HTEST-REP-1" },
		"no sequence":                func(_ *testing.T, g *graph.Graph) { g.Sequence = 0 },
		"one resource without label": replace("Observation", `"code":"HTEST","display":"test health data"`, `"code":"exam","display":"Exam"`),
	}
	for name, plant := range faults {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			g := mapped(t, gastricESD(t))
			require.NoError(t, fhir.Validate(g))
			plant(t, &g)
			require.Error(t, fhir.Validate(g))
		})
	}
}

// pointAt makes the first reference under a member lead to another type.
func pointAt(kind, member, target string) func(t *testing.T, g *graph.Graph) {
	return func(t *testing.T, g *graph.Graph) {
		t.Helper()
		var to string
		for _, r := range g.Resources {
			if r.Type == target {
				to = r.Reference()
			}
		}
		for i, r := range g.Resources {
			start := strings.Index(string(r.Body), `"`+member+`":[{"reference":"`)
			if r.Type != kind || start < 0 {
				continue
			}
			from := start + len(`"`+member+`":[{"reference":"`)
			g.Resources[i].Body = json.RawMessage(string(r.Body[:from]) + to + string(r.Body[from+len(to):]))
			return
		}
		t.Fatalf("no %s has %s", kind, member)
	}
}

// Errors name the place, never what stands there.
func TestErrorsHoldNoContent(t *testing.T) {
	t.Parallel()
	g := mapped(t, gastricESD(t))
	replace("Procedure", `"reference":"Patient?identifier=`, `"reference":"Passenger?identifier=`)(t, &g)
	err := fhir.Validate(g)
	require.ErrorContains(t, err, ".subject: a reference")
	require.NotContains(t, err.Error(), "HTEST")
	rep := gastricESD(t)
	rep.Lesions[0].Examination.Wall = "HTEST Jane Doe"
	_, err = fhir.Map(rep, nil, options())
	require.ErrorContains(t, err, "wall")
	require.NotContains(t, err.Error(), "Jane")
}

// The elements that R4 requires, read from a decoder that knows nothing of this
// package's walker (hl7.org/fhir/R4, resource definitions, cardinality 1..).
func TestRequiredElements(t *testing.T) {
	t.Parallel()
	required := map[string][]string{
		"AdverseEvent": {"actuality", "subject"}, "BodyStructure": {"patient"}, "Condition": {"subject"},
		"DiagnosticReport": {"status", "code"}, "Media": {"status", "content"}, "Observation": {"status", "code"},
		"MedicationAdministration": {"status", "subject", "medicationCodeableConcept"}, "Procedure": {"status", "subject"},
		"Provenance": {"target", "recorded", "agent"}, "ServiceRequest": {"status", "intent", "subject"}}
	rep := withHistology(t, report.HistologyFinal)
	rep.Events = []report.Event{bleeding(rep)}
	seen := map[string]bool{}
	for _, r := range mapped(t, rep).Resources {
		var body map[string]any
		require.NoError(t, json.Unmarshal(r.Body, &body))
		seen[r.Type] = true
		for _, name := range required[r.Type] {
			require.Contains(t, body, name, r.Role)
		}
	}
	for kind := range required {
		require.True(t, seen[kind], kind)
	}
}
