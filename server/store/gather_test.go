package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
)

func opened(key string) store.Case {
	return store.Case{Key: key, Tenant: "T", Source: "S", ReportID: key, Sequence: 1, Revision: 1, Status: "final", Updated: time.Now()}
}

func stored(t *testing.T, st *store.Store, key string) bool {
	t.Helper()
	_, err := st.Case(t.Context(), key)
	if !fault.Is(err, fault.NotFound) {
		require.NoError(t, err)
	}
	return err == nil
}

// gathered runs fn in one Gather of one transaction.
func gathered(ctx context.Context, st *store.Store, fn func(*store.Tx) error) error {
	return st.InTx(ctx, func(tx *store.Tx) error { return tx.Gather(ctx, func() error { return fn(tx) }) })
}

// Gathered writes are all there or none is, and the error is that of the first
// that fails, with its kind.
func TestGatheredWritesFailTogether(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, st *store.Store) {
		ctx := t.Context()
		require.NoError(t, gathered(ctx, st, func(tx *store.Tx) error {
			if err := tx.PutCase(ctx, opened("a")); err != nil {
				return err
			}
			return tx.Gather(ctx, func() error { return tx.PutCase(ctx, opened("b")) }) // of the same gathering
		}))
		require.True(t, stored(t, st, "a") && stored(t, st, "b"))

		later := false
		err := st.InTx(ctx, func(tx *store.Tx) error {
			err := tx.Gather(ctx, func() error {
				if err := tx.PutCase(ctx, opened("c")); err != nil {
					return err
				}
				if err := tx.PutCase(ctx, opened("a")); err != nil { // there already
					return err
				}
				return tx.PutCase(ctx, opened("d"))
			})
			later = err == nil
			return err
		})
		require.True(t, fault.Is(err, fault.Conflict), "%v", err)
		require.False(t, later, "Gather itself returns the error")
		require.False(t, stored(t, st, "c") || stored(t, st, "d"))

		err = gathered(ctx, st, func(tx *store.Tx) error { return tx.JoinDocument(ctx, "nowhere", "a") })
		require.True(t, fault.Is(err, fault.Conflict), "a write that must touch a row and does not: %v", err)
	})
}

// What is gathered goes before a read of the same transaction.
func TestAReadSeesWhatIsGathered(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, st *store.Store) {
		ctx := t.Context()
		read := func() (c store.Case, err error) {
			err = gathered(ctx, st, func(tx *store.Tx) (err error) {
				if err := tx.PutCase(ctx, opened("a")); err != nil {
					return err
				}
				c, err = tx.Case(ctx, "a")
				return err
			})
			return c, err
		}
		c, err := read()
		require.NoError(t, err)
		require.Equal(t, "final", c.Status)
		_, err = read()
		require.True(t, fault.Is(err, fault.Conflict), "the read returns what failed before it: %v", err)
	})
}

// A transaction whose context has ended leaves nothing behind: its writes are
// not sent by themselves.
func TestGatheredWritesDoNotOutliveTheirTransaction(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, st *store.Store) {
		for range 50 {
			ctx, cancel := context.WithCancel(t.Context())
			require.Error(t, st.InTx(ctx, func(tx *store.Tx) error {
				err := tx.Gather(context.WithoutCancel(ctx), func() error {
					if err := tx.PutCase(context.WithoutCancel(ctx), opened("late")); err != nil {
						return err
					}
					cancel() // the driver rolls back meanwhile
					time.Sleep(time.Millisecond)
					return nil
				})
				if err == nil {
					err = ctx.Err()
				}
				return err
			}))
			require.False(t, stored(t, st, "late"))
		}
	})
}
