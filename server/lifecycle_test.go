//go:build peers

package server_test

import (
	"encoding/json"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/servertest"
)

// The life of a case as a real server tells it: both reports keep their place,
// and their _history shows every state, oldest first, once each. A document
// that changes nothing in a report leaves it without a new version.
func TestHistoryOfBothReports(t *testing.T) {
	for _, h := range hospitals {
		if h.onePage {
			continue // it shows no _history by page, and its versions carry no order
		}
		t.Run(h.name, func(t *testing.T) {
			t.Parallel()
			base := os.Getenv(h.name)
			require.NotEmpty(t, base, "start the server and give its base URL in %s", h.name)
			s := servertest.Start(t, servertest.Options{Server: base})

			states := map[string][]string{} // by role: the status of each version that there has to be
			bodies := map[string]string{}
			keys := map[string]string{}
			var caseKey string
			for _, step := range newLife(t).steps() {
				receipt := s.MustAccept(step.path, step.body)
				s.Settle()
				caseKey = receipt.Case
				g := graphAt(t, s, caseKey, receipt.Sequence)
				for _, r := range g.Resources {
					if r.Type == "DiagnosticReport" && bodies[r.Role] != string(r.Body) {
						bodies[r.Role], keys[r.Key] = string(r.Body), r.Role
						status := map[string]string{"report/endoscopy": step.endoscopy, "report/pathology": step.pathology}[r.Role]
						states[r.Role] = append(states[r.Role], status)
					}
				}
				requireEachHasAProvenance(t, h, base, g)
			}
			require.Equal(t, []string{"preliminary", "final", "appended", "appended", "appended", "corrected", "corrected", "entered-in-error"},
				states["report/endoscopy"], "the life played above")

			found := h.search(t, base, "DiagnosticReport", caseKey)
			require.Len(t, found, 2)
			for _, report := range found {
				id := idIn(t, report)
				role := keys[roleKeyIn(string(report))]
				require.Equal(t, states[role], historyOf(t, base, "DiagnosticReport/"+id), role)
			}
		})
	}
}

// requireEachHasAProvenance asks the server for what says who wrote each report.
func requireEachHasAProvenance(t *testing.T, h hospital, base string, g graph.Graph) {
	t.Helper()
	for _, report := range h.search(t, base, "DiagnosticReport", g.CaseKey) {
		var hits struct{ Entry []json.RawMessage }
		getJSON(t, base+"/Provenance?target=DiagnosticReport/"+idIn(t, report), &hits)
		require.NotEmpty(t, hits.Entry, "nothing says who wrote the report")
	}
}

// historyOf is the status of every version of a resource, oldest first.
func historyOf(t *testing.T, base, place string) []string {
	t.Helper()
	var page struct {
		Entry []struct {
			Resource struct {
				ID, Status string
				Meta       struct{ VersionID string }
			}
		}
	}
	getJSON(t, base+"/"+place+"/_history?_count=100", &page)
	var statuses []string
	for _, e := range page.Entry {
		statuses = append(statuses, e.Resource.Status)
	}
	slices.Reverse(statuses)
	return statuses
}

func idIn(t *testing.T, resource []byte) string {
	t.Helper()
	var r struct{ ID string }
	require.NoError(t, json.Unmarshal(resource, &r))
	require.NotEmpty(t, r.ID)
	return r.ID
}
