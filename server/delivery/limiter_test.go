package delivery_test

import (
	"context"
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/target"
)

// simulated plays rounds of attempts against a target: all that may run begin
// together, and answer says how the n-th of them ends and how long it took.
func simulated(l delivery.Limiter, rounds int, answer func(n, running int) (*delivery.Failure, time.Duration)) (bounds []int) {
	now := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	for range rounds {
		running := l.Bound()
		for range running {
			l.Acquire(context.Background(), 0)
		}
		began := now
		for n := range running {
			failure, took := answer(n, running)
			now = began.Add(took)
			l.Settle(failure, began, now)
		}
		now = now.Add(time.Millisecond)
		bounds = append(bounds, l.Bound())
	}
	return bounds
}

func mean(of []int) float64 {
	sum := 0
	for _, n := range of {
		sum += n
	}
	return float64(sum) / float64(len(of))
}

const usual = 100 * time.Millisecond

// Additive increase, multiplicative decrease finds the capacity of a target and
// stays around it (Chiu and Jain, Comput Netw ISDN Syst 1989;17:1-14).
func TestConcurrencyFindsWhatATargetBears(t *testing.T) {
	t.Parallel()
	for status, capacity := range map[int]int{http.StatusTooManyRequests: 6, http.StatusServiceUnavailable: 3, http.StatusGatewayTimeout: 1} {
		t.Run(fmt.Sprint(status), func(t *testing.T) {
			t.Parallel()
			bounds := simulated(delivery.NewLimiter(16), 400, func(n, _ int) (*delivery.Failure, time.Duration) {
				if n >= capacity {
					return &delivery.Failure{Class: target.Retry, Status: status}, usual
				}
				return nil, usual
			})
			steady := bounds[100:]
			for _, n := range steady {
				require.LessOrEqual(t, n, capacity+1)
				require.GreaterOrEqual(t, n, 1)
			}
			require.Greater(t, mean(steady), 0.6*float64(capacity), "most of the capacity is used")
		})
	}
}

func TestConcurrencyRisesToTheMostWhereNothingHinders(t *testing.T) {
	t.Parallel()
	bounds := simulated(delivery.NewLimiter(16), 40, func(int, int) (*delivery.Failure, time.Duration) { return nil, usual })
	require.Equal(t, 8, bounds[0])
	require.Equal(t, 16, bounds[len(bounds)-1])
	// What is wrong with one case says nothing about the target's strength.
	bounds = simulated(delivery.NewLimiter(16), 40, func(n, _ int) (*delivery.Failure, time.Duration) {
		if n%5 == 0 {
			return &delivery.Failure{Class: target.Permanent, Status: 422}, usual
		}
		return nil, usual
	})
	require.Equal(t, 16, bounds[len(bounds)-1])
}

// A target that only slows down, and refuses nothing, is eased too: here the
// time grows with the square of how many run.
func TestConcurrencyGivesWayToLatency(t *testing.T) {
	t.Parallel()
	bounds := simulated(delivery.NewLimiter(16), 600, func(_, running int) (*delivery.Failure, time.Duration) {
		return nil, usual * time.Duration(running*running)
	})
	require.Less(t, mean(bounds[10:60]), 15.0)
	// A target that is slow for good gets its bound back.
	l := delivery.NewLimiter(16)
	simulated(l, 50, func(int, int) (*delivery.Failure, time.Duration) { return nil, usual })
	bounds = simulated(l, 2000, func(int, int) (*delivery.Failure, time.Duration) { return nil, 8 * usual })
	require.Less(t, bounds[15], 16)
	require.Equal(t, 16, bounds[len(bounds)-1])
}

func TestATurnIsWaitedForAndGivenOn(t *testing.T) {
	t.Parallel()
	l := delivery.NewLimiter(2) // begins with 1
	ctx := context.Background()
	require.True(t, l.Acquire(ctx, time.Second))
	require.False(t, l.Acquire(ctx, time.Millisecond), "its patience ends")
	gone, cancel := context.WithCancel(ctx)
	cancel()
	require.False(t, l.Acquire(gone, time.Minute), "its context ends")
	got := make(chan bool, 1)
	go func() { got <- l.Acquire(ctx, time.Minute) }()
	l.Settle(&delivery.Failure{Status: 429}, time.Now(), time.Now())
	require.True(t, <-got)
	require.False(t, l.Acquire(ctx, 0), "and holds it")
}

// The whole service keeps to what a target bears: it says 503 to every
// transaction beyond the second at a time.
func TestAServiceKeepsToWhatItsTargetBears(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", func(o *delivery.Options) { o.Workers = 16 })
	var running, refused, taken atomic.Int64
	for range 2000 {
		p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			defer running.Add(-1)
			if running.Add(1) > 2 {
				refused.Add(1)
				w.WriteHeader(http.StatusServiceUnavailable)
				return
			}
			taken.Add(1)
			time.Sleep(5 * time.Millisecond) // a target that works, not a wait for anything
			next.ServeHTTP(w, r)
		})
	}
	var names []string
	for n := range 40 {
		name := fmt.Sprintf("case-%d", n)
		names = append(names, name)
		p.accept(states(name, n+1)...)
	}
	p.start()
	p.settled()
	p.requireWhole(names...)
	require.Less(t, refused.Load(), taken.Load(), "more is taken than refused")
}

// With one turn at the target, the next case is written while the one before is
// read back, and what a reader hears still counts.
func TestATurnIsGivenOnBeforeWhatWasWrittenIsReadBack(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", func(o *delivery.Options) { o.Workers = 1 })
	second := make(chan struct{})
	p.faults.plan(func(r *http.Request) bool { return r.Method == http.MethodGet }, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		select {
		case <-second:
		case <-time.After(20 * time.Second):
			t.Error("nobody wrote while the first was read back")
		}
		next.ServeHTTP(w, r)
	})
	p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) { next.ServeHTTP(w, r) })
	p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		close(second)
		next.ServeHTTP(w, r)
	})
	p.accept(states("one", 1)...)
	p.accept(states("two", 2)...)
	p.start()
	p.settled()
	p.requireWhole("one", "two")
}

func TestAReaderIsHeardWhenItsTurnIsGivenOn(t *testing.T) {
	t.Parallel()
	l := delivery.NewLimiter(16)
	began := time.Now()
	require.True(t, l.Acquire(t.Context(), 0))
	l.Settle(nil, began, began.Add(usual))
	before := l.Bound()
	l.Hear(&delivery.Failure{Class: target.Retry, Status: http.StatusServiceUnavailable}, began, began.Add(usual))
	require.Equal(t, before/2, l.Bound())
	for range before / 2 {
		require.True(t, l.Acquire(t.Context(), 0), "and nobody's turn was taken twice")
	}
	require.False(t, l.Acquire(t.Context(), 0))
}
