package delivery_test

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/store"
)

// Two sites share a store, and their targets even have one name: the process of
// one site neither renders nor sends what belongs to the other, whatever the
// queue hands it.
func TestTenantsWorkTheirOwnRowsOnly(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		ctx := context.Background()
		p := newPlant(t, dsn, func(o *delivery.Options) { o.Tenant, o.Sweep = "north", 50*time.Millisecond })
		mistaken := 0
		other, err := delivery.New(ctx, delivery.Options{Store: p.store, Tenant: "south", Targets: []delivery.Target{p.target(t)}, Sweep: 50 * time.Millisecond,
			Render: func(context.Context, string, int) (graph.Graph, error) { mistaken++; return graph.Graph{}, nil }})
		require.NoError(t, err)
		north := states("north", 1)[0]
		p.accept(north)
		// A job that an older program put into the queue of nobody in particular.
		require.NoError(t, p.store.InTx(ctx, func(tx *store.Tx) error {
			_, err := tx.SQL().ExecContext(ctx, `UPDATE river_job SET queue = '`+southQueue+`'`)
			return err
		}))
		require.NoError(t, other.Start(ctx))
		require.Eventually(t, func() bool {
			var left int
			err := p.store.DB().QueryRowContext(ctx, `SELECT count(*) FROM river_job WHERE state IN ('available', 'running')`).Scan(&left)
			return err == nil && left == 0
		}, time.Minute, 10*time.Millisecond, "the job is done with")
		require.Equal(t, store.Waiting, p.rowsOf("north", north.caseKey())[1].State)
		require.Zero(t, p.rowsOf("north", north.caseKey())[1].Attempts)
		require.Empty(t, p.rowsOf("south", north.caseKey()))

		p.start()
		require.Eventually(t, func() bool { return p.rowsOf("north", north.caseKey())[1].State == store.Delivered }, time.Minute, 10*time.Millisecond)
		require.NoError(t, other.Stop(ctx))
		require.Zero(t, mistaken)
	})
}

// southQueue is the queue of the tenant "south": the first 8 bytes of the
// SHA-256 of the name, by `printf south | sha256sum`.
const southQueue = "tenant-2daa8d4a05dfc643"

func (p *plant) rowsOf(tenant, caseKey string) map[int]store.Delivery {
	all, err := p.store.Deliveries(context.Background(), store.DeliveryQuery{Tenant: tenant, CaseKey: caseKey, Limit: 500})
	require.NoError(p.t, err)
	rows := map[int]store.Delivery{}
	for _, d := range all {
		rows[d.Sequence] = d
	}
	return rows
}

// A slow target with many rows does not stand in the way of another's: each has
// workers of its own. Rows of a target that is first now, and was not, are worked
// wherever their jobs lie; so are those of a target that is gone.
func TestASlowTargetHoldsUpNoOther(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		b, slow := newBench(t), newBench(t)
		let := make(chan struct{})
		answer := sync.OnceFunc(func() { close(let) })
		t.Cleanup(answer)
		inOrder := slow.faults.next
		slow.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			select {
			case <-let:
			case <-r.Context().Done():
			}
			inOrder.ServeHTTP(w, r)
		})
		registry := slow.target(t)
		registry.Name = "registry"
		only := ""
		p := plantAt(t, b, dsn, func(o *delivery.Options) {
			o.Targets = append([]delivery.Target{registry}, o.Targets...)
			o.Workers = 2
			if only != "" {
				o.Targets = slices.DeleteFunc(o.Targets, func(t delivery.Target) bool { return t.Name != only })
			}
		})
		of := func(target string, name string) store.Delivery {
			all, err := p.store.Deliveries(t.Context(), store.DeliveryQuery{CaseKey: scene{name: name}.caseKey(), Target: target, Limit: 5})
			require.NoError(t, err)
			require.Len(t, all, 1)
			return all[0]
		}
		reaches := func(target, name string, state store.DeliveryState) {
			t.Helper()
			require.Eventually(t, func() bool { return of(target, name).State == state }, time.Minute, 10*time.Millisecond)
		}
		hospital := p.target(t).Name
		var names []string
		for n := range 20 {
			names = append(names, fmt.Sprintf("slow-%d", n))
			p.accept(scene{name: names[n], sequence: 1})
		}
		p.start()
		require.Eventually(t, func() bool { // no longer than it would take each to wait for a turn at the other
			return !slices.ContainsFunc(names, func(n string) bool { return of(hospital, n).State != store.Delivered })
		}, time.Minute, 20*time.Millisecond)
		require.NotEqual(t, store.Delivered, of("registry", names[19]).State)

		// The hospital has a queue of its own, and is the only target from now on: a
		// row that was accepted before is worked all the same, and so are the other's,
		// which say what they wait for.
		answer()
		p.close()
		p.open()
		p.accept(scene{name: "moved", sequence: 1})
		p.close()
		only = hospital
		p.open()
		p.start()
		reaches(hospital, "moved", store.Delivered)
		reaches("registry", "moved", store.Retrying)
		require.Equal(t, string(delivery.UnknownTarget), of("registry", "moved").Reason)
		p.close()
		only = ""
		p.open()
		p.start()
		for _, n := range append(names, "moved") {
			row := of("registry", n)
			if row.State == store.Retrying {
				_ = p.svc.Resend(t.Context(), row.ID) // it may be due by now
			}
			reaches("registry", n, store.Delivered)
		}
	})
}
