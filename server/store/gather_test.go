package store_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
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

// A read that takes a lock along, or writes, reads what it would have without.
func TestAReadThatTakesALockAlongIsTheSame(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, st *store.Store) {
		ctx, now := t.Context(), time.Now().Truncate(time.Microsecond)
		revision(t, st, "a", 1, now, store.Waiting)
		require.NoError(t, st.InTx(ctx, func(tx *store.Tx) error {
			return tx.PutLedger(ctx, "x", []store.LedgerEntry{{CaseKey: "a", RoleKey: "1", Body: []byte(`{}`)}, {RoleKey: "2", Body: []byte(`{}`), Written: now}})
		}))
		type told struct {
			kase      store.Case
			part      store.Document
			all       []store.Document
			next      store.Delivery
			own       []store.LedgerEntry
			shared    []store.LedgerEntry
			delivered int
			present   store.Present
		}
		tell := func(tx *store.Tx, before func()) (x told, err error) {
			for _, ask := range []func() error{
				func() (err error) { x.kase, err = tx.Case(ctx, "a"); return err },
				func() (err error) { x.part, err = tx.LatestPart(ctx, "T", store.Report, "S", "a"); return err },
				func() (err error) { x.all, err = tx.DocumentsAt(ctx, "a", 1); return err },
				func() (err error) { x.next, err = tx.NextOpen(ctx, "x", "a", 0); return err },
				func() (err error) { x.own, x.delivered, err = tx.Ledger(ctx, "x", "a"); return err },
				func() (err error) { x.shared, _, err = tx.Ledger(ctx, "x", "none", "2"); return err },
				func() (err error) {
					x.present, err = tx.Present(ctx, "T", store.Report, "S", "a", "a", nil)
					return err
				},
			} {
				before()
				if err := ask(); err != nil {
					return x, err
				}
			}
			before()
			_, err = tx.Case(ctx, "none")
			require.True(t, fault.Is(err, fault.NotFound), "%v", err)
			return x, nil
		}
		var alone, along told
		require.NoError(t, st.InTx(ctx, func(tx *store.Tx) (err error) { alone, err = tell(tx, func() {}); return err }))
		n := 0
		require.NoError(t, st.InTx(ctx, func(tx *store.Tx) (err error) {
			along, err = tell(tx, func() { n++; tx.LockCase(fmt.Sprint(n)) })
			tx.LockCase("last, with nothing behind it")
			return err
		}))
		require.Equal(t, alone, along)
		require.NotEmpty(t, along.shared)
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

// What is to happen after a commit happens once, when the write can be read, and
// not at all when the transaction comes to nothing.
func TestAfterACommit(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, st *store.Store) {
		ctx, called := t.Context(), 0
		add := func(key string, then error) error {
			return st.InTx(ctx, func(tx *store.Tx) error {
				tx.AfterCommit(func() {
					require.True(t, stored(t, st, key))
					called++
				})
				return errors.Join(tx.PutCase(ctx, opened(key)), then)
			})
		}
		require.NoError(t, add("a", nil))
		require.Equal(t, 1, called)
		require.Error(t, add("b", errors.New("no")))
		require.Error(t, add("a", nil), "it is there already")
		require.Equal(t, 1, called)
	})
}

// The last writes of a transaction are there with it, or nothing of it is: when
// one fails, when one finds nothing to change, and when the caller gives up.
func TestTheLastWritesStandOrFallWithTheTransaction(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, st *store.Store) {
		ctx := t.Context()
		later := opened("a")
		later.Sequence, later.Status = 2, "amended"
		lost := later
		lost.Key = "never opened"
		for name, c := range map[string]struct {
			before, last []store.Case
			then         error
			kind         fault.Kind
		}{
			"good":            {last: []store.Case{opened("a"), opened("b")}},
			"after another":   {before: []store.Case{opened("c")}, last: []store.Case{opened("d")}},
			"there already":   {before: []store.Case{opened("e")}, last: []store.Case{opened("f"), opened("f"), opened("g")}, kind: fault.Conflict},
			"nothing to meet": {before: []store.Case{opened("h")}, last: []store.Case{opened("i"), lost, opened("j")}, kind: fault.Conflict},
			"given up":        {before: []store.Case{opened("k")}, last: []store.Case{opened("l")}, then: fault.New(fault.Busy, "no"), kind: fault.Busy},
		} {
			called := 0
			err := st.InTx(ctx, func(tx *store.Tx) error {
				tx.AfterCommit(func() { called++ })
				for _, one := range c.before {
					if err := tx.PutCase(ctx, one); err != nil {
						return err
					}
				}
				return tx.Last(ctx, func() error {
					for _, one := range c.last {
						if err := tx.PutCase(ctx, one); err != nil {
							return err
						}
					}
					return c.then
				})
			})
			if c.kind == 0 {
				require.NoError(t, err, name)
				require.Equal(t, 1, called, name)
			} else {
				require.True(t, fault.Is(err, c.kind), "%s: %v", name, err)
				require.Zero(t, called, name)
			}
			for _, one := range slices.Concat(c.before, c.last) {
				require.Equal(t, err == nil, stored(t, st, one.Key), "%s: %s", name, one.Key)
			}
		}
		// A write that must find its row, and does.
		require.NoError(t, st.InTx(ctx, func(tx *store.Tx) error {
			return tx.Last(ctx, func() error { return tx.PutCase(ctx, later) })
		}))
		c, err := st.Case(ctx, "a")
		require.NoError(t, err)
		require.Equal(t, "amended", c.Status)

		ended, cancel := context.WithCancel(ctx)
		err = st.InTx(ended, func(tx *store.Tx) error {
			return tx.Last(ended, func() error {
				defer cancel()
				return tx.PutCase(ended, opened("m"))
			})
		})
		require.Equal(t, err == nil, stored(t, st, "m"))
		require.Equal(t, st.Engine() == store.SQLite, err == nil, "nothing was sent to Postgres yet")
	})
}
