package delivery_test

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/store"
)

// TestATargetThatRefusesEverybodyIsLeftAlone: a wrong password must not be tried
// by every case, and everything goes on by itself once it is mended.
func TestATargetThatRefusesEverybodyIsLeftAlone(t *testing.T) {
	t.Parallel()
	var hours atomic.Int64
	// An hour passes when the test says so.
	clock := func() time.Time { return time.Now().Add(time.Duration(hours.Load()) * time.Hour) }
	registry := prometheus.NewRegistry()
	p := newPlant(t, "", func(o *delivery.Options) {
		o.Registerer = registry
		o.Clock = clock
	})
	delivery.SetSteady(p.svc, clock)
	var refused atomic.Int32
	for range 100 {
		p.faults.plan(func(*http.Request) bool { return hours.Load() == 0 }, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			refused.Add(1)
			status(401)(next, w, r)
		})
	}
	var all []scene
	for n := range 20 {
		all = append(all, scene{name: fmt.Sprintf("circuit-%d", n), sequence: 1, patient: fmt.Sprintf("HTEST-PAT-%04d", n+1)})
	}
	p.accept(all...)
	p.start()
	require.Eventually(t, func() bool { return p.svc.TargetStates()[0].Circuit == delivery.CircuitIsOpen }, time.Minute, 5*time.Millisecond)
	for _, s := range all {
		require.Eventually(t, func() bool { return p.rows(s.caseKey())[1].Attempts > 0 }, time.Minute, 5*time.Millisecond)
	}
	asked := refused.Load()
	require.LessOrEqual(t, asked, int32(5+16), "five, and those that were under way")
	require.Equal(t, 1.0, gauge(t, registry, "enbloc_delivery_circuit", "open"))
	require.False(t, p.svc.TargetStates()[0].Until.IsZero())

	hours.Store(1) // the rest is over and the password is mended
	for _, s := range all {
		require.NoError(t, retried(p, s))
		p.until(s, store.Delivered)
	}
	require.Equal(t, asked, refused.Load())
	require.Equal(t, delivery.CircuitClosed, p.svc.TargetStates()[0].Circuit)
	require.Equal(t, 1.0, gauge(t, registry, "enbloc_delivery_circuit", "closed"))
}

// retried asks for a row at once where it still waits.
func retried(p *plant, s scene) error {
	d := p.rows(s.caseKey())[s.sequence]
	if d.State != store.Retrying {
		return nil
	}
	_ = p.svc.Resend(context.Background(), d.ID) // a worker may have it by now
	return nil
}

func gauge(t testing.TB, r *prometheus.Registry, name, state string) float64 {
	t.Helper()
	families, err := r.Gather()
	require.NoError(t, err)
	for _, f := range families {
		for _, m := range f.GetMetric() {
			for _, l := range m.GetLabel() {
				if f.GetName() == name && l.GetValue() == state {
					return m.GetGauge().GetValue()
				}
			}
		}
	}
	require.Fail(t, "no such metric", name)
	return 0
}

// TestARefusedStateGoesOnceTheMappingIsCorrected: resending renders again, so a
// mistake of the mapping needs no new report.
func TestARefusedStateGoesOnceTheMappingIsCorrected(t *testing.T) {
	t.Parallel()
	var corrected atomic.Bool
	once := &sync.Mutex{}
	p := newPlant(t, "", nil)
	p.close()
	p.change = func(o *delivery.Options) {
		o.Render = func(ctx context.Context, caseKey string, sequence int) (graph.Graph, error) {
			once.Lock()
			defer once.Unlock()
			status := "finished"
			if corrected.Load() {
				status = "final"
			}
			return scene{name: "corrected", sequence: sequence, status: status}.graph(), nil
		}
	}
	p.open()
	s := scene{name: "corrected", sequence: 1}
	p.accept(s)
	p.start()
	d := p.until(s, store.Dead)
	require.Equal(t, "refused", d.Reason)
	corrected.Store(true)
	require.NoError(t, p.svc.Resend(context.Background(), d.ID))
	p.until(s, store.Delivered)
	require.Len(t, p.byKey(t), 5)
}
