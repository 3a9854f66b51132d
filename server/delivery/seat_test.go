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
)

// TestDeliveriesWaitForTargetsTogether: while senders wait, deliveries compute
// on few processors, and yet all of them can wait for the target at once.
func TestDeliveriesWaitForTargetsTogether(t *testing.T) {
	t.Parallel()
	const workers = 6
	p := newPlant(t, "", func(o *delivery.Options) {
		o.Workers = 2 * workers // the limiter begins with half
		o.Busy = func() bool { return true }
	})
	p.accept(states("first", workers+1)...) // brings what the others share
	p.start()
	p.settled()
	var now, most atomic.Int64
	together := make(chan struct{})
	for range workers {
		p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			if most.Store(max(most.Load(), now.Add(1))); now.Load() == workers {
				close(together)
			}
			select {
			case <-together:
			case <-time.After(20 * time.Second):
			}
			next.ServeHTTP(w, r)
		})
	}
	names := []string{"first"}
	for n := range workers {
		names = append(names, fmt.Sprintf("seat-%d", n))
		p.accept(states(names[n+1], n+1)...)
	}
	p.settled()
	require.Equal(t, int64(workers), most.Load())
	p.requireWhole(names...)
}

// TestWhatCasesShareIsNotWaitedForOnASeat: who writes a shared resource waits
// for the target and then for a seat. If others waited for that on the seats,
// nobody would ever go on.
func TestWhatCasesShareIsNotWaitedForOnASeat(t *testing.T) {
	t.Parallel()
	p := newPlant(t, "", func(o *delivery.Options) {
		o.Workers = 16
		o.Busy = func() bool { return true }
	})
	slow := func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		time.Sleep(5 * time.Millisecond)
		next.ServeHTTP(w, r)
	}
	for range 2000 {
		p.faults.plan(func(*http.Request) bool { return true }, slow)
	}
	var all []scene
	for n := range 24 {
		all = append(all, scene{name: fmt.Sprintf("shared-%d", n), sequence: 1, device: fmt.Sprintf("HTEST-GEN-%d", n%3), patient: fmt.Sprintf("HTEST-PAT-%04d", n+1)})
	}
	p.accept(all...)
	p.start()
	require.Eventually(t, func() bool {
		counts, err := p.store.OpenCounts(context.Background())
		return err == nil && len(counts) == 0
	}, time.Minute, 10*time.Millisecond, "rows stay open")
	require.Len(t, p.Resources("Device"), 3)
}
