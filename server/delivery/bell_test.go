package delivery_test

import (
	"testing"
	"time"

	"enbloc/server/delivery"
	"enbloc/server/store"
)

// What this process accepts is sent without waiting for the next look into the
// queue, the state that waited for the one before too.
func TestWhatIsAcceptedIsSentWithoutPolling(t *testing.T) {
	t.Parallel()
	engines(t, func(t *testing.T, dsn string) {
		p := newPlant(t, dsn, func(o *delivery.Options) { o.Poll, o.Sweep = time.Hour, time.Hour })
		p.start()
		for _, name := range []string{"A", "B", "C"} {
			first, second := scene{name: "rung " + name, sequence: 1}, scene{name: "rung " + name, sequence: 2}
			p.accept(first)
			p.accept(second)
			p.until(first, store.Delivered)
			p.until(second, store.Delivered)
		}
	})
}
