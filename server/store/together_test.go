package store

import (
	"context"
	"errors"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func openTable(t *testing.T) *Store {
	t.Helper()
	s, err := Open(context.Background(), filepath.Join(t.TempDir(), "s.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	s.together.longest = time.Minute // the tests hold commits up
	require.NoError(t, s.InTx(context.Background(), func(tx *Tx) error {
		_, err := tx.exec(context.Background(), `CREATE TABLE n (n INTEGER PRIMARY KEY)`)
		return err
	}))
	return s
}

func put(s *Store, ctx context.Context, n int, more func(tx *Tx) error) error { //nolint:revive // the store comes first here
	return s.InTx(ctx, func(tx *Tx) error {
		if _, err := tx.exec(ctx, `INSERT INTO n (n) VALUES (?)`, n); err != nil {
			return err
		}
		return more(tx)
	})
}

func stands(t *testing.T, s *Store) (all []int) {
	t.Helper()
	rows, err := s.reader.QueryContext(context.Background(), `SELECT n FROM n ORDER BY n`)
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var n int
		require.NoError(t, rows.Scan(&n))
		all = append(all, n)
	}
	require.NoError(t, rows.Err())
	return all
}

// all runs transactions that wait for each other: the first holds the turn until
// every other one waits for it.
func all(s *Store, n int, run func(i int) error) []error {
	errs := make([]error, n)
	var wait sync.WaitGroup
	waited := false
	first, once := make(chan struct{}), sync.Once{}
	wait.Go(func() {
		errs[0] = s.InTx(context.Background(), func(*Tx) error {
			once.Do(func() { close(first) })                        // a broken commit runs it again
			for !waited && s.together.waiting.Load() < int32(n-1) { //nolint:gosec // a few
				time.Sleep(time.Millisecond)
			}
			waited = true
			return nil
		})
	})
	<-first
	for i := 1; i < n; i++ {
		wait.Go(func() { errs[i] = run(i) })
	}
	wait.Wait()
	return errs
}

func nothingMore(*Tx) error { return nil }

func TestTransactionsShareACommit(t *testing.T) {
	t.Parallel()
	s := openTable(t)
	ctx := context.Background()
	refused := errors.New("refused")
	var seen atomic.Int64
	errs := all(s, 8, func(i int) error {
		return put(s, ctx, i, func(tx *Tx) error {
			var others int
			if err := s.reader.QueryRowContext(ctx, `SELECT count(*) FROM n`).Scan(&others); err != nil {
				return err
			}
			seen.Add(int64(others)) // of what is committed
			if i == 3 {
				return refused
			}
			return nil
		})
	})
	for i, err := range errs {
		if i == 3 {
			require.ErrorIs(t, err, refused)
			continue
		}
		require.NoError(t, err)
	}
	require.Zero(t, seen.Load(), "nothing was committed before the last one had written")
	require.Equal(t, []int{1, 2, 4, 5, 6, 7}, stands(t, s), "the one that failed took nothing with it")
}

func TestAPanicTakesNothingWithIt(t *testing.T) {
	t.Parallel()
	s := openTable(t)
	errs := all(s, 4, func(i int) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = errors.New(p.(string))
			}
		}()
		return put(s, context.Background(), i, func(*Tx) error {
			if i == 2 {
				panic("HTEST")
			}
			return nil
		})
	})
	require.EqualError(t, errs[2], "HTEST")
	require.NoError(t, errors.Join(errs[1], errs[3]))
	require.Equal(t, []int{1, 3}, stands(t, s))
	require.NoError(t, put(s, context.Background(), 9, nothingMore), "the turn is free again")
}

// SQLite rolls back the whole transaction when one write in it is interrupted
// (https://www.sqlite.org/c3ref/interrupt.html); the others are run once more.
func TestWhoBreaksACommitLosesAlone(t *testing.T) {
	t.Parallel()
	s := openTable(t)
	ctx := context.Background()
	var runs atomic.Int64
	errs := all(s, 5, func(i int) error {
		return put(s, ctx, i, func(tx *Tx) error {
			runs.Add(1)
			if i != 2 {
				return nil
			}
			_, err := tx.sql.ExecContext(ctx, `ROLLBACK`) // as SQLite does by itself
			return errors.Join(errors.New("broken"), err)
		})
	})
	require.ErrorContains(t, errs[2], "broken")
	for _, i := range []int{0, 1, 3, 4} {
		require.NoError(t, errs[i])
	}
	require.Equal(t, []int{1, 3, 4}, stands(t, s))
	require.GreaterOrEqual(t, runs.Load(), int64(4))
}

// Who stops waiting leaves nobody waiting for a commit.
func TestWhoLeavesTheQueueHoldsNobodyUp(t *testing.T) {
	t.Parallel()
	s := openTable(t)
	ctx, cancel := context.WithCancel(context.Background())
	errs := all(s, 2, func(int) error {
		go func() {
			for s.together.waiting.Load() == 0 {
				time.Sleep(time.Millisecond)
			}
			cancel()
		}()
		return put(s, ctx, 1, nothingMore)
	})
	require.NoError(t, errs[0])
	if errs[1] != nil { // it may have had its turn before
		require.ErrorIs(t, errs[1], context.Canceled)
		require.Empty(t, stands(t, s))
	}
	require.NoError(t, put(s, context.Background(), 2, nothingMore))
}

func TestNoMoreThanAFewWaitForOneCommit(t *testing.T) {
	t.Parallel()
	s := openTable(t)
	for i, err := range all(s, 5*mostTogether, func(i int) error { return put(s, context.Background(), i, nothingMore) }) {
		require.NoError(t, err, i)
	}
	require.Len(t, stands(t, s), 5*mostTogether-1)
	require.Nil(t, s.together.open)
}
