package delivery_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/store"
)

// The target holds its answers for longer than a stop waits. What runs is
// cancelled and given back at once, not when its lease of minutes ends; the next
// process sends each case once, whether the former one's request has arrived or not.
func TestAStopOutOfPatienceGivesBackWhatItCancels(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		// As many as may write at first; the others wait for a turn when it stops.
		const cases, held = 12, 4
		p := newPlant(t, dsn, func(o *delivery.Options) { o.Workers = 2 * held })
		reached, let := make(chan struct{}, held), make(chan struct{})
		answer := sync.OnceFunc(func() { close(let) })
		t.Cleanup(answer) // the receiver waits for its answers when it ends
		// What all cases share must stand, or they would wait for whoever sends it.
		before := states("before", cases+1)
		p.accept(before...)
		p.start()
		p.until(before[2], store.Delivered)
		for n := range held {
			p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
				if n%2 == 0 { // it arrives, and nobody hears that it did
					next.ServeHTTP(httptest.NewRecorder(), r)
				}
				reached <- struct{}{}
				<-let
			})
		}
		names := []string{"before"}
		for n := range cases {
			name := fmt.Sprintf("stopped-%d", n)
			names = append(names, name)
			p.accept(states(name, n+1)...)
		}
		for range held {
			<-reached
		}
		grace, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		defer cancel()
		began := time.Now()
		require.NoError(t, p.svc.Stop(grace))
		require.Less(t, time.Since(began), 20*time.Second, "it does not wait for the answers")
		require.ErrorIs(t, grace.Err(), context.DeadlineExceeded, "the grace was not enough")

		require.NoError(t, p.store.Ready(t.Context()), "the store is the caller's to close")
		holders, err := p.store.Holders(t.Context())
		require.NoError(t, err)
		require.Empty(t, holders, "nothing is left claimed")
		var running int
		require.NoError(t, p.store.DB().QueryRowContext(t.Context(), `SELECT count(*) FROM river_job WHERE state = 'running'`).Scan(&running))
		require.Zero(t, running)
		doubts := 0
		for _, name := range names[1:] {
			for _, d := range p.rows(key("c", name)) {
				require.Contains(t, []store.DeliveryState{store.Waiting, store.Retrying}, d.State)
				require.Empty(t, d.ClaimedBy)
				if d.Uncertain {
					doubts++
				}
			}
		}
		require.Equal(t, held, doubts, "what was cancelled may have arrived")
		answer()

		require.NoError(t, p.store.Close())
		p.open()
		p.start()
		began = time.Now()
		p.settled()
		require.Less(t, time.Since(began), time.Minute, "no lease had to end")
		p.requireWhole(names...)
		p.requireDelivered(names...)
		// A first state of five resources, then one new and one changed, twice; and
		// the device that all share.
		require.Equal(t, (cases+1)*(4+2+2)+1, p.writes())
	})
}
