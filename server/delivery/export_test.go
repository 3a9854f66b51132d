package delivery

import (
	"context"
	"time"

	"enbloc/mapping/graph"
	"enbloc/server/store"
)

// DeliverInDoubt delivers as the worker does after an uncertain attempt.
func DeliverInDoubt(e *Engine, ctx context.Context, g graph.Graph) (Result, error) {
	return e.deliverAlone(ctx, g, true)
}

// NewStoreLedger is the ledger that a Service keeps.
func NewStoreLedger(st *store.Store) Ledger { return storeLedger{st, time.Now} }

// Limiter is the bound of one target, as a Service moves it.
type Limiter struct{ *limiter }

// NewLimiter returns a bound of at most n.
func NewLimiter(n int) Limiter { return Limiter{newLimiter(n)} }

// Acquire takes a turn.
func (l Limiter) Acquire(ctx context.Context, patience time.Duration) bool {
	return l.acquire(ctx, patience)
}

// Settle ends an attempt.
func (l Limiter) Settle(f *Failure, began, now time.Time) { l.settle(f, began, now) }

// Hear learns without ending an attempt.
func (l Limiter) Hear(f *Failure, began, now time.Time) { l.hear(f, began, now) }

// Bound is how many attempts may run now.
func (l Limiter) Bound() int { return l.bound() }

// PresentRung is the rung that an engine writes by now.
func PresentRung(e *Engine) int { return e.present().Rung }

// InsertBoth adds two jobs for a row, the second as River makes it, and returns
// their ids.
func InsertBoth(ctx context.Context, s *Service, tx *store.Tx, deliveryID string) (ours, byRiver int64, err error) {
	if _, err := s.queue.insertTx(ctx, tx, deliveryID, ""); err != nil {
		return 0, 0, err
	}
	if err := tx.SQL().QueryRowContext(ctx, `SELECT lastval()`).Scan(&ours); err != nil {
		return 0, 0, err
	}
	byRiver, err = s.queue.byRiver(ctx, tx, deliveryID, s.queue.name)
	return ours, byRiver, err
}

// SetSteady replaces the clock that a service measures spans of time with; call
// it before Start.
func SetSteady(s *Service, now func() time.Time) { s.steady = now }
