package store_test

import (
	"database/sql"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// After Postgres has ended every connection of the pool, as a restart does,
// the next transactions run on new ones: nobody who sends a report sees it.
func TestConnectionsOfARestartedPostgres(t *testing.T) {
	t.Parallel()
	dsn := storetest.Postgres(t)
	st, err := store.Open(t.Context(), dsn)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	other, err := sql.Open("pgx", dsn)
	require.NoError(t, err)
	defer other.Close()

	const many = 20
	for range 10 {
		var all, open sync.WaitGroup
		pids := make([]int, many)
		open.Add(many)
		for n := range many {
			all.Go(func() {
				if err := st.InTx(t.Context(), func(tx *store.Tx) error {
					defer open.Wait() // so that each has a connection of its own
					defer open.Done()
					return tx.SQL().QueryRowContext(t.Context(), `SELECT pg_backend_pid()`).Scan(&pids[n])
				}); err != nil {
					open.Done() // a transaction that did not begin
					t.Error(err)
				}
			})
		}
		all.Wait()
		require.False(t, t.Failed())
		_, err := other.ExecContext(t.Context(), `SELECT pg_terminate_backend(pid) FROM unnest($1::int[]) AS pid`, pids)
		require.NoError(t, err)
	}
}
