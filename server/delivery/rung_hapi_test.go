//go:build peers

package delivery_test

import (
	"context"
	"net/http"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
)

// TestARealServerIsWrittenByTheLowerRungs brings a case with the circle of
// references through two states, with a lost answer at every write in turn.
func TestARealServerIsWrittenByTheLowerRungs(t *testing.T) {
	for name, change := range map[string]func(*delivery.Target){
		"3":                     func(t *delivery.Target) { t.Rung = delivery.RungConditionalUpdate },
		"4 with a condition":    func(t *delivery.Target) { t.Rung = delivery.RungSingle },
		"4 with ids of ours":    func(t *delivery.Target) { t.Rung, t.FirstWrite = delivery.RungSingle, delivery.WithClientID },
		"4 after a search":      func(t *delivery.Target) { t.Rung, t.FirstWrite = delivery.RungSingle, delivery.AfterSearch },
		"5, a document a state": func(t *delivery.Target) { t.Rung = delivery.RungDocument },
	} {
		t.Run(name, func(t *testing.T) {
			b := realServer(t)
			ledger := delivery.NewMemoryLedger()
			e := delivery.NewEngine(b.target(t, change), delivery.EngineOptions{Ledger: ledger, Void: voided})
			run := uuid.NewString()
			for sequence, status := range []string{"final", "amended"} {
				g := circular(run, sequence+1, status)
				for n := 0; ; n++ {
					writes := 0
					b.faults.plan(func(r *http.Request) bool {
						if isWrite(r) {
							writes++
						}
						return isWrite(r) && writes == 2
					}, resetAfter)
					got, err := delivery.DeliverInDoubt(e, context.Background(), g)
					if err == nil {
						require.Empty(t, got.Alarms())
						break
					}
					require.True(t, requireFailure(t, err).Uncertain, "%v", err)
					require.Less(t, n, 20)
				}
			}
			if name[0] != '5' {
				require.Equal(t, map[string]int{"Procedure": 1, "Observation": 2, "AdverseEvent": 1, "DiagnosticReport": 1, "Provenance": 1}, standing(t, b, scene{name: run}.caseKey()))
			}
		})
	}
}
