package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// A claim that is broken off while Postgres grants it: the caller hears that it
// holds the row, and can give it back. Else it would be nobody's until the death
// of its holder is believed.
func TestAClaimBrokenOffIsNotLost(t *testing.T) {
	t.Parallel()
	st := open(t, storetest.Postgres(t))
	now := time.Now()
	for _, state := range []store.DeliveryState{store.Waiting, store.Retrying} { // granted by one statement, and by a transaction
		revision(t, st, string(state), 1, now, state)
		rows, err := st.Deliveries(t.Context(), store.DeliveryQuery{CaseKey: string(state)})
		require.NoError(t, err)
		id := rows[0].ID
		ctx, breakOff := context.WithCancel(t.Context())
		type answer struct {
			d   store.Delivery
			v   store.Verdict
			err error
		}
		heard := make(chan answer, 1)
		require.NoError(t, st.InTx(t.Context(), func(tx *store.Tx) error {
			_, err := tx.SQL().ExecContext(t.Context(), `UPDATE deliveries SET updated_at = updated_at WHERE id = $1`, id)
			require.NoError(t, err)
			go func() {
				d, v, err := st.Claim(ctx, "", id, "worker", now.Add(time.Hour), time.Minute)
				heard <- answer{d, v, err}
			}()
			require.Eventually(t, func() bool {
				var waiting int
				err := tx.SQL().QueryRowContext(t.Context(), `SELECT count(*) FROM pg_locks WHERE NOT granted AND pg_backend_pid() = ANY (pg_blocking_pids(pid))`).Scan(&waiting)
				return err == nil && waiting > 0
			}, 20*time.Second, time.Millisecond)
			breakOff()
			return nil // lets the row go
		}))
		a := <-heard
		require.NoError(t, a.err)
		require.Equal(t, store.Claimed, a.v)
		require.NoError(t, st.InTx(t.Context(), func(tx *store.Tx) error {
			return tx.Finish(t.Context(), a.d, store.Outcome{State: store.Delivered}, store.Attempt{}, now)
		}))
		_, _, err = st.Claim(ctx, "", id, "worker", now, time.Minute)
		require.ErrorIs(t, err, context.Canceled, "what is broken off before it began claims nothing")
	}
}
