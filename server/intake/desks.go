package intake

import (
	"context"
	"runtime"
	"sync/atomic"

	"golang.org/x/sync/semaphore"

	"enbloc/server/fault"
)

// desks are where documents are accepted, as many as there are processors. The
// line before them is in order: more at once would only make everybody wait
// longer.
type desks struct {
	free *semaphore.Weighted
	here atomic.Int64 // served or in line
}

func newDesks() *desks {
	return &desks{free: semaphore.NewWeighted(int64(runtime.GOMAXPROCS(0)))}
}

// take waits for a desk; leave gives it back.
func (d *desks) take(ctx context.Context) (leave func(), err error) {
	d.here.Add(1)
	if err := d.free.Acquire(ctx, 1); err != nil {
		d.here.Add(-1)
		return nil, fault.Wrap("waiting to be accepted", fault.Unavailable, err)
	}
	return func() {
		d.free.Release(1)
		d.here.Add(-1)
	}, nil
}

// Busy reports whether a sender waits for an answer now.
func (in *Intake) Busy() bool { return in.desks.here.Load() > 0 }
