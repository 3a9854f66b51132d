package delivery_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// postgresURL gives the test an empty schema on the Postgres of
// ENBLOC_TEST_POSTGRES, or skips.
func postgresURL(t testing.TB) string { return storetest.Postgres(t) }

// The job that goes with the other writes is, column by column, the one that
// River's own insert makes in the same transaction; only its times are those of
// the database, by which it is found due.
func TestAJobOnPostgresIsAsRiverMakesIt(t *testing.T) {
	t.Parallel()
	st, err := store.Open(t.Context(), postgresURL(t))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	var jobs []string
	for _, tenant := range []string{"", "second"} {
		s, err := delivery.New(t.Context(), delivery.Options{Store: st, Tenant: tenant,
			Render: func(context.Context, string, int) (graph.Graph, error) { return graph.Graph{}, nil }})
		require.NoError(t, err)
		require.NoError(t, st.InTx(t.Context(), func(tx *store.Tx) error {
			ours, byRiver, err := delivery.InsertBoth(t.Context(), s, tx, "0190-a")
			require.NoError(t, err)
			for _, id := range []int64{ours, byRiver} {
				var job string
				err := tx.SQL().QueryRowContext(t.Context(), `SELECT (to_jsonb(j) - '{id,created_at,scheduled_at}'::text[])::text FROM river_job j WHERE id = $1`, id).Scan(&job)
				require.NoError(t, err)
				jobs = append(jobs, job)
			}
			return nil
		}))
		require.Equal(t, jobs[len(jobs)-1], jobs[len(jobs)-2])
		var due int
		require.NoError(t, st.DB().QueryRowContext(t.Context(), `SELECT count(*) FROM river_job WHERE scheduled_at = created_at AND scheduled_at <= now()`).Scan(&due))
		require.Equal(t, len(jobs), due)
		require.Contains(t, jobs[len(jobs)-1], `"args": {"delivery_id": "0190-a"}`)
	}
}

// Two processes bring the same new device at the same moment, and the answer to
// the first one's write is lost. Only by waiting for each other do they make it
// once, where no condition of the target is relied on.
func TestWhatCasesShareIsWrittenByOneProcessAtATime(t *testing.T) {
	t.Parallel()
	eachRungThatLooks(t, func(t *testing.T, b *bench, change func(*delivery.Target)) {
		dsn := postgresURL(t)
		process := func() *delivery.Engine {
			st, err := store.Open(t.Context(), dsn)
			require.NoError(t, err)
			t.Cleanup(func() { require.NoError(t, st.Close()) })
			return delivery.NewEngine(b.target(t, change), delivery.EngineOptions{Void: voided, Ledger: delivery.NewStoreLedger(st)})
		}
		// The second one's write is met only where it does not wait.
		b.bringOneDevice(t, process(), process(), isWrite, time.Second)
	})
}
