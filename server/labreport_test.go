package server_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

// The laboratory's own report is on the target already: ours names it as the
// source of its summary and neither writes it nor takes its identity, not even
// when the case is withdrawn.
func TestTheLaboratorysReportIsNamedAndNeverWritten(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	l := newLife(t)
	system, value := "https://hospital.example/"+l.own+"/sid/lab-report", "HTEST-LAB-26-01902"
	patient, err := s.Receiver.Seed("Patient", "https://hospital.example/sid/laboratory-patient", "HTEST-P-LAB", nil)
	require.NoError(t, err)
	id, err := s.Receiver.Seed("DiagnosticReport", system, value, map[string]any{"status": "final",
		"code": map[string]any{"text": "Histology, HTEST"}, "subject": map[string]any{"reference": "Patient/" + patient}})
	require.NoError(t, err)

	var caseKey string
	for _, step := range l.steps() {
		caseKey = s.MustAccept(step.path, step.body).Case
	}
	s.Settle()

	require.Len(t, s.Receiver.Resources("DiagnosticReport"), 3, "theirs and our two")
	for _, write := range s.Receiver.Journal() {
		require.False(t, write.ID == id && write.Version > 1, "the laboratory's report was written")
	}
	for _, ours := range s.Resources("DiagnosticReport", caseKey) {
		require.NotContains(t, encoded(t, ours), system, "a report of ours under the laboratory's number")
	}
	named := 0
	for _, p := range s.Resources("Provenance", caseKey) {
		entities, _ := p["entity"].([]any)
		for _, e := range entities {
			what := e.(map[string]any)["what"].(map[string]any)
			if number, ok := what["identifier"].(map[string]any); ok && number["system"] == system {
				require.Equal(t, value, number["value"])
				require.Equal(t, "source", e.(map[string]any)["role"])
				require.NotContains(t, what, "reference", "by its number only: where it stands is the laboratory's business")
				named++
			}
		}
	}
	require.GreaterOrEqual(t, named, 1)
}
