package delivery_test

import (
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/store"
)

// jumping is a clock that can be put forward and back while it runs.
type jumping struct{ ahead atomic.Int64 }

func (c *jumping) now() time.Time        { return time.Now().Add(time.Duration(c.ahead.Load())) }
func (c *jumping) jump(by time.Duration) { c.ahead.Add(int64(by)) }

// A clock that jumps a day ahead and a day back, between accepting and
// delivering and in the middle of it, delays nothing and doubles nothing.
func TestAClockThatJumpsLosesNothing(t *testing.T) {
	t.Parallel()
	const day = 25 * time.Hour
	for name, jumps := range map[string][]time.Duration{
		"back": {-day, 0}, "ahead": {day, 0}, "back, then ahead": {-day, 2 * day}, "ahead, then back": {day, -2 * day}, "back twice": {-day, -day},
		"ahead by more than anything is tried": {4 * day, 0}, "ahead by as much in the middle": {0, 4 * day},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			engines(t, func(t *testing.T, dsn string) {
				clock := &jumping{}
				p := newPlant(t, dsn, func(o *delivery.Options) {
					hasty(o)
					o.Clock = clock.now
				})
				var names []string
				for n := range 6 {
					names = append(names, fmt.Sprintf("clock-%d", n))
					p.accept(states(names[n], n+1)...)
				}
				clock.jump(jumps[0])
				// The second jump comes in the middle of a transaction, after which
				// the target is unwell for a while.
				p.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
					clock.jump(jumps[1])
					next.ServeHTTP(w, r)
				})
				for range 5 {
					p.faults.plan(transactions, status(503))
				}
				p.start()
				p.settled()
				p.requireWhole(names...)
				p.requireDelivered(names...)
			})
		})
	}
}

// A clock that is put forward while a row is being sent ends its claim; the process
// that sends it does not take it for abandoned and send it a second time.
func TestARowIsNotSentTwiceAtOnceByAClockPutForward(t *testing.T) {
	t.Parallel()
	clock := &jumping{}
	p := newPlant(t, "", func(o *delivery.Options) {
		hasty(o)
		o.Sweep, o.Clock = 20*time.Millisecond, clock.now
	})
	var under, most, sent atomic.Int32
	inOrder := p.faults.next
	p.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if transactions(r) {
			most.Store(max(most.Load(), under.Add(1)))
			defer under.Add(-1)
			sent.Add(1)
			clock.jump(time.Minute)
			time.Sleep(300 * time.Millisecond) // time for many a sweep
		}
		inOrder.ServeHTTP(w, r)
	})
	s := scene{name: "forward", sequence: 1}
	p.accept(s)
	p.start()
	d := p.until(s, store.Delivered)
	require.Equal(t, int32(1), most.Load())
	require.Equal(t, int32(twoWritten), sent.Load())
	require.Equal(t, 1, d.Attempts)
	p.requireOnce()
}

// A row and its job that were put off while the clock was a day ahead do not
// wait for that day once the clock is right.
func TestAJobPutOffByAWrongClockIsWoken(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		const row = `UPDATE deliveries SET state = 'retrying', attempts = 1, next_attempt = %d WHERE sequence = 1`
		const job = `UPDATE river_job SET state = 'scheduled', scheduled_at = '%s'`
		p := newPlant(t, dsn, hasty)
		p.accept(states("put-off", 1)...)
		day := time.Now().Add(25 * time.Hour).UTC()
		for _, statement := range []string{fmt.Sprintf(row, day.UnixMicro()), fmt.Sprintf(job, day.Format("2006-01-02 15:04:05.000+00"))} {
			_, err := p.store.DB().Exec(statement)
			require.NoError(t, err)
		}
		p.start()
		p.settled()
		p.requireWhole("put-off")
	})
}
