package delivery_test

import (
	"context"
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
		}, 20*time.Second, 10*time.Millisecond, "the job is done with")
		require.Equal(t, store.Waiting, p.rowsOf("north", north.caseKey())[1].State)
		require.Zero(t, p.rowsOf("north", north.caseKey())[1].Attempts)
		require.Empty(t, p.rowsOf("south", north.caseKey()))

		p.start()
		require.Eventually(t, func() bool { return p.rowsOf("north", north.caseKey())[1].State == store.Delivered }, 20*time.Second, 10*time.Millisecond)
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
