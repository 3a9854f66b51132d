package delivery_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/store"
	"enbloc/server/target"
)

// A target that loses transactions while the service runs is written request by
// request from then on: nothing is lost or doubled, the rows and the target say
// so, and the next start remembers it, until a preflight looks anew.
func TestATargetThatLosesTransactionsIsWrittenSingly(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		p := newPlant(t, dsn, nil)
		p.start()
		all := states("stepping", 1)
		p.accept(all[0])
		first := p.until(all[0], store.Delivered)
		require.Empty(t, first.Reason)
		require.Nil(t, p.svc.TargetStates()[0].Step)

		p.Shape(practice.Shape{NoTransaction: true, NoClientIDs: true})
		p.accept(all[1])
		second := p.until(all[1], store.Delivered)
		require.Equal(t, "stepped-down", second.Reason)
		require.Contains(t, second.Explanation, "Written by rung 4")
		require.Contains(t, second.Explanation, "refuses rung 2")
		require.Contains(t, second.Explanation, "HTTP 405")
		state := p.svc.TargetStates()[0]
		require.Equal(t, delivery.RungSingle, state.Rung.Number)
		require.NotEmpty(t, state.Rung.Lost)
		require.Equal(t, delivery.RungConditionalCreate, state.Step.From.Number)

		p.close()
		p.open()
		require.Equal(t, delivery.RungSingle, p.svc.TargetStates()[0].Rung.Number, "it is remembered")
		p.start()
		p.accept(all[2])
		p.until(all[2], store.Delivered)
		p.requireWhole("stepping")

		require.NoError(t, p.store.InTx(context.Background(), func(tx *store.Tx) error {
			return tx.PutPreflight(context.Background(), store.Preflight{Target: "practice", Rung: 2, Usable: true, Document: []byte(`{}`), Checked: time.Now()})
		}))
		p.close()
		p.open()
		require.Equal(t, delivery.RungConditionalCreate, p.svc.TargetStates()[0].Rung.Number, "a preflight looked anew")
		require.Nil(t, p.svc.TargetStates()[0].Step)
		p.start()
	})
}

// While a target still claims what it refuses, or says nothing at all, one
// refusal is not believed: a gateway answers 404 for a server that restarts.
func TestARefusalIsBelievedOnlyWhenItStays(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		target   func(*delivery.Target)
		shape    practice.Shape
		metadata int // status in place of the statement; 0: the statement
		tries    int // until it is delivered; 0: never
		writes   int // rung that it is written by in the end
	}{
		"the statement says so":          {nil, practice.Shape{NoTransaction: true}, 0, 1, delivery.RungSingle},
		"the statement says otherwise":   {nil, practice.Shape{NoTransaction: true, Claims: true}, 0, 3, delivery.RungSingle},
		"no statement":                   {nil, practice.Shape{NoTransaction: true}, 404, 0, delivery.RungConditionalCreate},
		"a human has fixed the rung":     {func(t *delivery.Target) { t.Fixed = true }, practice.Shape{NoTransaction: true}, 0, 0, delivery.RungConditionalCreate},
		"ids of ours are taken no more":  {func(t *delivery.Target) { t.Rung = delivery.RungClientIDs }, practice.Shape{NoClientIDs: true}, 0, 3, delivery.RungConditionalCreate},
		"from ids of ours to single":     {func(t *delivery.Target) { t.Rung = delivery.RungClientIDs }, practice.Shape{NoTransaction: true, NoClientIDs: true}, 0, 1, delivery.RungSingle},
		"never to conditional update":    {nil, practice.Shape{NoTransaction: true, NoConditionalCreate: true, NoClientIDs: true, ConditionalUpdate: true}, 0, 0, delivery.RungSingle},
		"never to documents":             {func(t *delivery.Target) { t.Rung = delivery.RungSingle }, practice.Shape{OnlyDocuments: true}, 0, 0, delivery.RungSingle},
		"a refusal of the content is no": {nil, practice.Shape{NoConditionalCreate: true}, 0, 0, delivery.RungConditionalCreate},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(c.shape)
			for range 20 {
				if c.metadata != 0 {
					b.faults.plan(func(r *http.Request) bool { return strings.HasSuffix(r.URL.Path, "/metadata") }, status(c.metadata))
				}
			}
			change := c.target
			if change == nil {
				change = func(*delivery.Target) {}
			}
			e := b.engine(t, change)
			g := scene{name: "refused", sequence: 1}.graph()
			delivered := 0
			for try := 1; try <= 5 && delivered == 0; try++ {
				if _, err := e.Deliver(context.Background(), g); err == nil {
					delivered = try
				}
			}
			require.Equal(t, c.tries, delivered)
			require.Equal(t, c.writes, delivery.PresentRung(e))
			if delivered > 0 {
				require.Len(t, b.byKey(t), 5)
				require.Equal(t, 5, b.writes())
			}
		})
	}
}

// A transaction that is refused as too large goes in halves, and the size is
// remembered; one entry that is too large is refused for good.
func TestTooLargeIsSplitAndRemembered(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		p := newPlant(t, dsn, nil)
		p.Shape(practice.Shape{MostEntries: 5, NoClientIDs: true})
		refused := 0
		p.faults.plan(func(r *http.Request) bool { return false }, nil)
		p.start()
		one := scene{name: "large", sequence: 1, more: 30, event: true}
		p.accept(one)
		d := p.until(one, store.Delivered)
		require.Equal(t, 1, d.Attempts, "in one attempt")
		require.Len(t, p.byKey(t), 36)
		require.Equal(t, 36, p.writes()-p.completed(), "each resource once, but for what names what comes later")
		most := p.svc.TargetStates()[0].MaxEntries
		require.LessOrEqual(t, most, 5)
		require.Positive(t, most)

		p.close()
		p.open()
		require.Equal(t, most, p.svc.TargetStates()[0].MaxEntries)
		p.faults.plan(func(r *http.Request) bool {
			if transactions(r) {
				refused++
			}
			return false
		}, nil)
		p.start()
		two := scene{name: "second", sequence: 1, more: 4}
		p.accept(two)
		p.until(two, store.Delivered)
		require.LessOrEqual(t, refused, 4, "nothing is tried that is known to be too large")
	})
	b := newBench(t)
	for range 8 {
		b.faults.plan(transactions, status(413))
	}
	_, err := b.engine(t).Deliver(context.Background(), scene{name: "huge", sequence: 1}.graph())
	f := requireReason(t, err, delivery.Refused)
	require.Equal(t, target.Permanent, f.Class)
	require.Zero(t, b.writes())
}

// completed is how many resources were written twice, because a part of them had
// to wait for what they name.
func (p *plant) completed() int {
	n := 0
	for _, w := range p.Journal() {
		if w.Version == 2 {
			n++
		}
		require.LessOrEqual(p.t, w.Version, 2, fmt.Sprint(w.Type))
	}
	return n
}
