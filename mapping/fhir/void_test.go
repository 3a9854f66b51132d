package fhir_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
)

// A void report says that it is void wherever somebody would read it, and
// nothing that it said before.
func TestVoidReport(t *testing.T) {
	t.Parallel()
	for _, r := range mapped(t, withHistology(t, report.HistologyFinal)).Resources {
		if r.Type != "DiagnosticReport" {
			continue
		}
		raw, err := fhir.Void(r.Type, r.Body)
		require.NoError(t, err)
		var body struct {
			Status, Conclusion string
			ConclusionCode     json.RawMessage
			Text               struct{ Div string }
		}
		require.NoError(t, json.Unmarshal(raw, &body))
		require.Equal(t, "entered-in-error", body.Status)
		require.Contains(t, body.Conclusion, "entered in error")
		require.Nil(t, body.ConclusionCode)
		require.Contains(t, body.Text.Div, "withdrawn")
		require.NotContains(t, body.Text.Div, "antrum")
	}
}

func TestVoidTwiceIsOnce(t *testing.T) {
	t.Parallel()
	rep := withHistology(t, report.HistologyFinal)
	rep.Events = []report.Event{bleeding(rep)}
	for _, r := range mapped(t, rep).Resources {
		if r.Type == "Provenance" || r.Type == "Device" {
			left, err := fhir.Void(r.Type, r.Body)
			require.NoError(t, err)
			require.Nil(t, left, "it stays as it is")
			continue
		}
		once, err := fhir.Void(r.Type, r.Body)
		require.NoError(t, err)
		twice, err := fhir.Void(r.Type, once)
		require.NoError(t, err)
		require.Equal(t, string(once), string(twice), r.Role)
		require.NotEqual(t, string(r.Body), string(once), r.Role)
	}
}

// What the server added (id, versionId) and what we do not know stays.
func TestVoidKeepsTheRest(t *testing.T) {
	t.Parallel()
	raw, err := fhir.Void("Condition", json.RawMessage(`{"resourceType":"Condition","id":"7","meta":{"versionId":"3"},`+
		`"clinicalStatus":{"text":"x"},"abatementString":"y","code":{"text":"z"},"note":[{"text":"1.50 <b>"}]}`))
	require.NoError(t, err)
	require.Equal(t, `{"resourceType":"Condition","id":"7","meta":{"versionId":"3"},"code":{"text":"z"},"note":[{"text":"1.50 <b>"}],`+
		`"verificationStatus":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-ver-status","code":"entered-in-error","display":"Entered in Error"}]}}`,
		string(raw))
}

func TestVoidRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ kind, raw string }{
		{"Observation", `{"resourceType":"Procedure"}`}, {"Observation", `{`}, {"Observation", `[]`},
		{"Patient", `{"resourceType":"Patient"}`}, {"Observation", `{}`},
	} {
		_, err := fhir.Void(c.kind, json.RawMessage(c.raw))
		require.Error(t, err, c)
	}
}

// A case has two reports, which are read on one page: each says which of them
// is withdrawn.
func TestWithdrawnReportsSayWhichTheyAre(t *testing.T) {
	t.Parallel()
	rep := withHistology(t, report.HistologyFinal)
	rep.Status, rep.StatusReason = report.Withdrawn, "Wrong patient."
	heads := map[string]bool{}
	for _, r := range mapped(t, rep).Resources {
		if r.Type != "DiagnosticReport" {
			continue
		}
		var body struct{ Text struct{ Div string } }
		require.NoError(t, json.Unmarshal(r.Body, &body))
		_, rest, _ := strings.Cut(body.Text.Div, "<h2>")
		head, _, _ := strings.Cut(rest, "</h2>")
		heads[head] = true
	}
	require.Equal(t, map[string]bool{"Endoscopy report: withdrawn": true, "Histology summary: withdrawn": true}, heads)
}
