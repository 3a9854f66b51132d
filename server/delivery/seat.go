package delivery

import (
	"context"
	"runtime"

	"golang.org/x/sync/semaphore"
)

// seats are where attempts compute. A delivery computes and waits by turns, and
// nobody looks on, while a sender waits for the answer to a report: so as long
// as senders wait, deliveries compute on half of the processors at most. Any
// number of them wait for their targets meanwhile.
type seats struct {
	always, spare *semaphore.Weighted
	busy          func() bool // whether a sender waits
}

func newSeats(busy func() bool) *seats {
	if busy == nil {
		busy = func() bool { return false }
	}
	processors := runtime.GOMAXPROCS(0)
	always := max(1, processors/2)
	return &seats{semaphore.NewWeighted(int64(always)), semaphore.NewWeighted(int64(processors - always)), busy}
}

// seat is the right of one attempt to compute. It serves one goroutine.
type seat struct {
	seats *seats
	held  *semaphore.Weighted
}

// sit waits for a seat. Without one, after the end of ctx, the attempt goes on:
// it has only its end to write down.
func (s *seat) sit(ctx context.Context) {
	switch a := s.seats; {
	case a.always.TryAcquire(1):
		s.held = a.always
	case !a.busy() && a.spare.TryAcquire(1):
		s.held = a.spare
	case a.always.Acquire(ctx, 1) == nil:
		s.held = a.always
	}
}

func (s *seat) rise() {
	if s.held != nil {
		s.held.Release(1)
		s.held = nil
	}
}

// outside gives the seat up while the target is waited for; the function that
// it returns takes one again.
func (s *seat) outside(ctx context.Context) func() {
	s.rise()
	return func() { s.sit(ctx) }
}
