package server

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/indicator"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// counter counts how often it counts; each count waits for leave to end.
type counter struct {
	mark  atomic.Pointer[store.Mark]
	times atomic.Int64
	begun chan struct{}
	may   chan struct{}
}

func newCounter(marks ...store.Mark) *counter {
	c := &counter{begun: make(chan struct{}, 100), may: make(chan struct{}, 100)}
	c.mark.Store(&marks[0])
	return c
}

func (c *counter) read(context.Context) (store.Mark, error) { return *c.mark.Load(), nil }

func (c *counter) count(ctx context.Context) (indicator.Report, error) {
	n := c.times.Add(1)
	c.begun <- struct{}{}
	select {
	case <-c.may:
		return indicator.Report{SmallCell: int(n)}, nil
	case <-ctx.Done():
		return indicator.Report{}, ctx.Err()
	}
}

// marks are two marks of a real store: before and after a case.
func marks(t *testing.T) (before, after store.Mark) {
	t.Helper()
	s, err := store.Open(t.Context(), t.TempDir()+"/enbloc.db")
	require.NoError(t, err)
	defer s.Close() //nolint:errcheck // of a test
	before, err = s.Mark(t.Context(), "")
	require.NoError(t, err)
	require.NoError(t, s.InTx(t.Context(), func(tx *store.Tx) error {
		return tx.PutCase(t.Context(), store.Case{Key: "k", Source: "S", ReportID: "r", Sequence: 1, Revision: 1, Status: "signed", Updated: time.Now()})
	}))
	after, err = s.Mark(t.Context(), "")
	require.NoError(t, err)
	require.NotEqual(t, before, after)
	return before, after
}

func TestFiguresAreKeptUntilTheStoreChanges(t *testing.T) {
	t.Parallel()
	before, after := marks(t)
	c := newCounter(before)
	f := newFigures(c.read)
	defer f.stop()
	ask := func(question string) int {
		c.may <- struct{}{}
		r, err := f.answer(t.Context(), question, c.count)
		require.NoError(t, err)
		return r.SmallCell
	}
	require.Equal(t, []int{1, 1, 2, 1, 2}, []int{ask("a"), ask("a"), ask("b"), ask("a"), ask("b")})
	c.mark.Store(&after)
	require.Equal(t, []int{3, 3, 4}, []int{ask("a"), ask("a"), ask("b")})
	for n := range keptFigures {
		require.Equal(t, 5+n, ask(string(rune('A'+n))))
	}
	require.Len(t, f.kept, keptFigures, "memory is bounded")
	require.Equal(t, 5+keptFigures, ask("a"), "the answer that nobody used was dropped")
}

func TestAnAnswerThatTookLongMayBeAsOldAsItTook(t *testing.T) {
	t.Parallel()
	before, after := marks(t)
	now := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	k := figure{mark: before, counted: now, took: 40 * time.Second}
	require.True(t, k.good(before, now.Add(time.Hour)))
	require.True(t, k.good(after, now.Add(39*time.Second)))
	require.False(t, k.good(after, now.Add(40*time.Second)))
	k.took = slowCount
	require.False(t, k.good(after, now), "a quick count is always of the newest store")
}

func TestOneCountServesAllWhoAsk(t *testing.T) {
	t.Parallel()
	before, _ := marks(t)
	c := newCounter(before)
	f := newFigures(c.read)
	defer f.stop()
	var asking sync.WaitGroup
	for range 20 {
		asking.Go(func() {
			r, err := f.answer(t.Context(), "a", c.count)
			require.NoError(t, err)
			require.Equal(t, 1, r.SmallCell)
		})
	}
	<-c.begun
	gone, leave := context.WithCancel(t.Context())
	leave()
	_, err := f.answer(gone, "a", c.count)
	require.Equal(t, fault.Unavailable, fault.KindOf(err), "who leaves gets a word")
	c.may <- struct{}{}
	asking.Wait()
	require.EqualValues(t, 1, c.times.Load())
}

// TestACountThatBeganBeforeAChangeIsNotShared: nobody who has seen a report
// accepted is given figures without it.
func TestACountThatBeganBeforeAChangeIsNotShared(t *testing.T) {
	t.Parallel()
	before, after := marks(t)
	c := newCounter(before)
	f := newFigures(c.read)
	defer f.stop()
	answers := make(chan int, 1)
	ask := func() {
		r, err := f.answer(t.Context(), "a", c.count)
		if err != nil {
			r.SmallCell = -1
		}
		answers <- r.SmallCell
	}
	go ask()
	<-c.begun
	c.mark.Store(&after)
	c.may <- struct{}{}
	require.Equal(t, 1, <-answers)
	go ask()
	<-c.begun
	c.may <- struct{}{}
	require.Equal(t, 2, <-answers)
}

func TestCountsTakeTurnsAndFewWait(t *testing.T) {
	t.Parallel()
	before, _ := marks(t)
	c := newCounter(before)
	f := newFigures(c.read)
	gone, leave := context.WithCancel(t.Context())
	leave()
	for n := range waitingFigures {
		_, err := f.answer(gone, string(rune('a'+n)), c.count)
		require.Equal(t, fault.Unavailable, fault.KindOf(err))
	}
	require.Eventually(t, func() bool { f.mu.Lock(); defer f.mu.Unlock(); return f.waiting == waitingFigures }, 10*time.Second, time.Millisecond)
	<-c.begun
	require.Empty(t, c.begun, "one at a time")
	_, err := f.answer(t.Context(), "one too many", c.count)
	require.ErrorContains(t, err, "Too many")
	require.Positive(t, fault.RetryAfter(err))
	f.stop()
	require.EqualValues(t, 1, c.times.Load(), "stopping ends the count and lets nobody else begin")
	_, err = f.answer(t.Context(), "after the end", c.count)
	require.Equal(t, fault.Unavailable, fault.KindOf(err))
}
