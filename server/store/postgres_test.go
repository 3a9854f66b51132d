package store_test

import (
	"context"
	"database/sql"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
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

	const many = 16
	for range 10 {
		var all, open sync.WaitGroup
		pids := make([]int, many)
		open.Add(many)
		for n := range many {
			all.Go(func() {
				if err := st.InTx(t.Context(), func(tx *store.Tx) error {
					if n%2 == 0 { // begins together with what waits
						tx.LockCase(uuid.NewString())
						if _, err := tx.Case(t.Context(), "none"); !fault.Is(err, fault.NotFound) {
							return err
						}
					}
					if err := tx.SQL().QueryRowContext(t.Context(), `SELECT pg_backend_pid()`).Scan(&pids[n]); err != nil {
						return err
					}
					open.Done()
					open.Wait() // so that each has a connection of its own
					return nil
				}); err != nil {
					open.Done()
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

// A process shows that it lives as long as it does, through the loss of its
// session, and no longer.
func TestPresenceOutlivesItsSession(t *testing.T) {
	t.Parallel()
	dsn := storetest.Postgres(t)
	watcher, err := store.Open(t.Context(), dsn)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, watcher.Close()) })
	name := "presence-" + uuid.NewString()
	st, err := store.Open(t.Context(), dsn+"&application_name="+name)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	unlocked := func() []string {
		free, err := watcher.Unlocked(t.Context(), []string{"one", "nobody"})
		require.NoError(t, err)
		return free
	}
	one, err := st.Appear(t.Context(), "one")
	require.NoError(t, err)
	require.Equal(t, []string{"nobody"}, unlocked())
	for range 2 {
		began := one.Life()
		_, err = watcher.DB().ExecContext(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = $1`, name)
		require.NoError(t, err)
		require.Eventually(t, func() bool { return len(unlocked()) == 2 }, 20*time.Second, time.Millisecond, "the lock goes with the session")
		require.Eventually(t, func() bool { return len(unlocked()) == 1 }, 20*time.Second, time.Millisecond, "it is taken again")
		require.NoError(t, began.Err(), "the work that was under way goes on")
	}
	one.Leave()
	require.Error(t, one.Life().Err())
	require.Eventually(t, func() bool { return len(unlocked()) == 2 }, 20*time.Second, time.Millisecond, "the session ends, and the lock with it")

	one, err = st.Appear(t.Context(), "one")
	require.NoError(t, err)
	_, err = st.Appear(t.Context(), "one")
	require.Error(t, err, "one process has the name")
	one.Leave()

	none, err := watcher.Unlocked(t.Context(), nil)
	require.NoError(t, err)
	require.Empty(t, none)
}

// Processes that want to be alone under one name wait for each other, those under
// another name do not; who goes with its session leaves.
func TestAlone(t *testing.T) {
	t.Parallel()
	dsn := storetest.Postgres(t)
	name := "alone-" + uuid.NewString()
	open := func(dsn string) *store.Store {
		st, err := store.Open(t.Context(), dsn)
		require.NoError(t, err)
		t.Cleanup(func() { require.NoError(t, st.Close()) })
		return st
	}
	one, two := open(dsn+"&application_name="+name), open(dsn)
	_, err := one.Alone(t.Context(), name)
	require.NoError(t, err)
	end, err := two.Alone(t.Context(), name+"-other")
	require.NoError(t, err)
	end()

	brief, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	_, err = two.Alone(brief, name)
	require.Error(t, err)

	done := make(chan error)
	go func() {
		end, err := two.Alone(t.Context(), name)
		if err == nil {
			end()
		}
		done <- err
	}()
	select {
	case <-done:
		require.Fail(t, "two are alone at once")
	case <-time.After(200 * time.Millisecond):
	}
	_, err = two.DB().ExecContext(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = $1`, name)
	require.NoError(t, err)
	require.NoError(t, <-done)
}
