//go:build peers

package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/server/delivery"
	"enbloc/server/servertest"
)

// A case of more than a hundred resources goes in transactions of at most forty
// into servers that refuse a reference to nothing or keep it as it is: every
// resource stands once and is read back as it was meant, through an amendment
// of everything and a withdrawal.
func TestALargeCaseGoesInPartsIntoRealServers(t *testing.T) {
	for _, h := range hospitals {
		for _, rung := range []int{delivery.RungClientIDs, delivery.RungConditionalCreate} {
			if h.onePage && rung == delivery.RungClientIDs {
				continue // it gives ids of its own
			}
			t.Run(fmt.Sprint(h.name, " rung ", rung), func(t *testing.T) {
				base := os.Getenv(h.name)
				require.NotEmpty(t, base, "start the server and give its base URL in %s", h.name)
				s := servertest.Start(t, servertest.Options{Server: base, Undelivered: true})
				raw := newLife(t).document(bleedReport, nil)
				s.MustAccept("/cases", raw) // makes the patient known
				var rep report.Report
				require.NoError(t, json.Unmarshal(raw, &rep))
				engine := delivery.NewEngine(delivery.Target{Name: "parts", Client: clientOf(t, base), Rung: rung, MaxEntries: 40,
					Verify: delivery.VerifyAll}, delivery.EngineOptions{Void: fhir.Void})
				for sequence, status := range []report.Status{report.Signed, report.Amended, report.Withdrawn} {
					rep.Status = status
					g, err := mapping.New(servertest.Key).Map(rep, sequence+1)
					require.NoError(t, err)
					require.Greater(t, len(g.Resources), 100)
					got, err := engine.Deliver(context.Background(), g)
					require.NoError(t, err)
					if h.loses == "" {
						require.Empty(t, got.Alarms())
					}
					seen := map[string]int{}
					for _, kind := range []string{"Observation", "Procedure", "DiagnosticReport", "Condition", "Media"} {
						for _, found := range h.search(t, base, kind, g.CaseKey) {
							require.NotContains(t, string(found), `"urn:uuid:`, "a reference to nothing")
							seen[roleKeyIn(string(found))]++
						}
					}
					for key, n := range seen {
						require.Equal(t, 1, n, key)
					}
				}
			})
		}
	}
}
