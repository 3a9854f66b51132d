package delivery_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/store"
)

// gate is a gate that a test can set.
type gate struct {
	mu      sync.Mutex
	passage delivery.Passage
	err     error
	asked   int
}

func (g *gate) set(p delivery.Passage, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.passage, g.err = p, err
}

func (g *gate) ask(context.Context, string, int) (delivery.Passage, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.asked++
	return g.passage, g.err
}

func gatedPlant(t *testing.T) (*plant, *gate) {
	t.Helper()
	g := &gate{passage: delivery.Pass}
	p := newPlant(t, "", func(o *delivery.Options) { o.Targets[0].Gate = g.ask })
	require.NoError(t, p.svc.Start(t.Context()))
	return p, g
}

// standing is how many resources of a case the receiver holds.
func (p *plant) standing(s scene) int {
	n := 0
	for _, kind := range []string{"Procedure", "Observation", "DiagnosticReport", "AdverseEvent", "Provenance"} {
		for _, body := range p.all(kind) {
			if strings.Contains(body, s.caseKey()) {
				n++
			}
		}
	}
	return n
}

// all is what the receiver holds of a type, as JSON.
func (p *plant) all(kind string) []string {
	var out []string
	for _, r := range p.Resources(kind) {
		body, err := json.Marshal(r)
		require.NoError(p.t, err)
		out = append(out, string(body))
	}
	return out
}

func (p *plant) newest(s scene) store.Delivery {
	rows, err := p.store.Deliveries(context.Background(), store.DeliveryQuery{CaseKey: s.caseKey()})
	require.NoError(p.t, err)
	require.NotEmpty(p.t, rows)
	return rows[0]
}

func (p *plant) reaches(s scene, state store.DeliveryState) store.Delivery {
	p.t.Helper()
	require.Eventually(p.t, func() bool { return p.newest(s).State == state }, time.Minute, 5*time.Millisecond, "%+v", p.newest(s))
	return p.newest(s)
}

func TestNothingIsSentWhileConsentIsMissingOrUnknown(t *testing.T) {
	t.Parallel()
	p, g := gatedPlant(t)
	g.set("", errors.New("the list is gone"))
	s := scene{name: "a", sequence: 1}
	p.accept(s)
	row := p.reaches(s, store.Retrying)
	require.Equal(t, string(delivery.ConsentUnknown), row.Reason)
	require.Zero(t, p.writes())
	g.set(delivery.Withhold, nil)
	row = p.reaches(s, store.Withheld)
	require.Contains(t, row.Explanation, "Nothing of it stood on the target.")
	require.Zero(t, p.writes())
	// Nothing changes as long as the answer does not.
	n, err := p.svc.ReviewConsent(t.Context(), row.Target, g.ask)
	require.NoError(t, err)
	require.Zero(t, n)
	g.set(delivery.Pass, nil)
	n, err = p.svc.ReviewConsent(t.Context(), row.Target, g.ask)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	p.reaches(s, store.Delivered)
	require.Positive(t, p.standing(s))
}

func TestALaterObjectionDeletesWhatWasSent(t *testing.T) {
	t.Parallel()
	for name, shape := range map[string]practice.Shape{
		"in one transaction": {Deletes: true},
		"one by one":         {Deletes: true, NoTransaction: true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, g := gatedPlant(t)
			s, other := scene{name: "a", sequence: 1, event: true, more: 3}, scene{name: "b", sequence: 1}
			p.accept(s, other)
			p.reaches(s, store.Delivered)
			p.reaches(other, store.Delivered)
			before, others := p.standing(s), p.standing(other)
			require.Greater(t, before, 5)
			p.Shape(shape)

			g.set(delivery.Withhold, nil)
			ask := func(ctx context.Context, key string, sequence int) (delivery.Passage, error) {
				if key == s.caseKey() {
					return delivery.Withhold, nil
				}
				return delivery.Pass, nil
			}
			n, err := p.svc.ReviewConsent(t.Context(), p.newest(s).Target, ask)
			require.NoError(t, err)
			require.Equal(t, 1, n)
			row := p.reaches(s, store.Withheld)
			require.Zero(t, p.standing(s))
			require.Equal(t, others, p.standing(other), "another case was touched")
			require.Contains(t, row.Explanation, "were deleted on the target")
			require.NotContains(t, row.Explanation, "refuses")
			ledger, _, err := p.store.Ledger(t.Context(), row.Target, s.caseKey())
			require.NoError(t, err)
			require.Empty(t, ledger)

			// Who agrees again is sent again, whole.
			p.Shape(practice.Shape{})
			g.set(delivery.Pass, nil)
			n, err = p.svc.ReviewConsent(t.Context(), row.Target, g.ask)
			require.NoError(t, err)
			require.Equal(t, 1, n)
			p.reaches(s, store.Delivered)
			require.Equal(t, before, p.standing(s))
		})
	}
}

func TestWhatATargetWillNotDeleteIsMarked(t *testing.T) {
	t.Parallel()
	p, g := gatedPlant(t)
	s := scene{name: "a", sequence: 1, more: 2}
	p.accept(s)
	p.reaches(s, store.Delivered)
	before := p.standing(s)
	g.set(delivery.Withhold, nil) // the receiver takes no DELETE
	_, err := p.svc.ReviewConsent(t.Context(), p.newest(s).Target, g.ask)
	require.NoError(t, err)
	row := p.reaches(s, store.Withheld)
	require.Contains(t, row.Explanation, "It refuses to delete")
	require.Equal(t, before, p.standing(s))
	for _, kind := range []string{"Procedure", "Observation", "DiagnosticReport"} {
		for _, body := range p.all(kind) {
			require.Contains(t, body, `"status":"entered-in-error"`)
		}
	}
	g.set(delivery.Pass, nil)
	_, err = p.svc.ReviewConsent(t.Context(), row.Target, g.ask)
	require.NoError(t, err)
	p.reaches(s, store.Delivered)
	for _, body := range p.all("DiagnosticReport") {
		require.Contains(t, body, `"status":"final"`)
	}
}

func TestAWithdrawnCaseIsTakenBack(t *testing.T) {
	t.Parallel()
	p, g := gatedPlant(t)
	p.Shape(practice.Shape{Deletes: true})
	first, second := scene{name: "a", sequence: 1}, scene{name: "a", sequence: 2, status: "entered-in-error"}
	p.accept(first)
	p.reaches(first, store.Delivered)
	g.set(delivery.TakeBack, nil)
	p.accept(second)
	require.Eventually(t, func() bool { d := p.newest(second); return d.Sequence == 2 && d.State == store.Delivered }, time.Minute, 5*time.Millisecond)
	row := p.newest(second)
	require.Equal(t, "withdrawn", row.Reason)
	require.Contains(t, row.Explanation, "deleted")
	require.Zero(t, p.standing(first))
}

// A removal whose answer is lost is done again and ends the same; and what an
// attempt left whose answer was lost is found though the ledger never knew it.
func TestARemovalSurvivesLostAnswersAndFindsWhatTheLedgerDoesNotKnow(t *testing.T) {
	t.Parallel()
	p, g := gatedPlant(t)
	s := scene{name: "a", sequence: 1}
	p.accept(s)
	p.reaches(s, store.Delivered)
	p.Shape(practice.Shape{Deletes: true})
	ledger, _, err := p.store.Ledger(t.Context(), p.newest(s).Target, s.caseKey())
	require.NoError(t, err)
	var keys []string
	for _, e := range ledger[:2] {
		keys = append(keys, e.RoleKey)
	}
	require.NoError(t, p.store.InTx(t.Context(), func(tx *store.Tx) error { return tx.Forget(t.Context(), p.newest(s).Target, s.caseKey(), keys) }))
	p.faults.plan(transactions, resetBefore)
	p.faults.plan(transactions, resetAfter)
	g.set(delivery.Withhold, nil)
	_, err = p.svc.ReviewConsent(t.Context(), p.newest(s).Target, g.ask)
	require.NoError(t, err)
	p.reaches(s, store.Withheld)
	require.Zero(t, p.standing(s))
}

// What refers to itself in a circle is deleted by no server as it is but in one
// transaction. Where there is none, or it is too large for the target, the circle
// is cut first; and a case that is wanted again after that, before all of it is
// gone, is written as it was.
func TestACircleIsTakenBackWithoutATransaction(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		shape  practice.Shape
		target func(*delivery.Target)
	}{
		"one by one":        {practice.Shape{Deletes: true, NoTransaction: true}, func(t *delivery.Target) { t.Rung = delivery.RungSingle }},
		"too large for one": {practice.Shape{Deletes: true}, func(t *delivery.Target) { t.MaxEntries = 2 }},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(c.shape)
			g := scene{name: "circle", sequence: 1, event: true}.graph()
			by := map[string]*graph.Resource{}
			for i := range g.Resources {
				by[g.Resources[i].Role] = &g.Resources[i]
			}
			procedure := by["resection/1"]
			var tree map[string]any
			require.NoError(t, json.Unmarshal(procedure.Body, &tree))
			tree["report"] = []any{ref(*by["report/endoscopy"])}
			var err error
			procedure.Body, err = json.Marshal(tree)
			require.NoError(t, err)
			e := b.engine(t, c.target)
			_, err = e.Deliver(t.Context(), g)
			require.NoError(t, err)
			require.Len(t, b.byKey(t), len(g.Resources))

			// The first removal ends after the cut: the next DELETE gets no answer.
			cut := false
			b.faults.plan(func(r *http.Request) bool {
				cut = cut || r.Method == http.MethodPut && strings.Contains(r.URL.Path, "/Procedure/")
				return cut && r.Method == http.MethodDelete
			}, resetBefore)
			_, err = e.Remove(t.Context(), g)
			require.Error(t, err)
			require.Nil(t, b.Resources("Procedure")[0]["report"])
			result, err := e.Deliver(t.Context(), g)
			require.NoError(t, err)
			require.Empty(t, result.Alarms())
			require.NotNil(t, b.Resources("Procedure")[0]["report"], "it is written as it was")

			result, err = e.Remove(t.Context(), g)
			require.NoError(t, err)
			require.Equal(t, len(g.Resources)-1, result.Removal.Deleted, "all but what cases share")
			require.Zero(t, result.Removal.Voided+result.Removal.Left)
			require.Empty(t, b.Resources("Procedure"))
			require.Len(t, b.Resources("Device"), 1)
		})
	}
}
