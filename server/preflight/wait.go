package preflight

import (
	"context"
	"time"
)

// A search that is written with a delay of its own shows it within a few
// seconds; five are waited.
const (
	freshTries = 25
	freshWait  = 200 * time.Millisecond
)

// wait lets the target have time, unless nobody waits any more.
func wait(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
