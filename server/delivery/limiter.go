package delivery

import (
	"context"
	"net/http"
	"slices"
	"sync"
	"time"
)

// limiter bounds how many attempts run against one target at once, by additive
// increase and multiplicative decrease (Chiu and Jain, Comput Netw ISDN Syst
// 1989;17:1-14): it goes up by one for each round of good attempts while the
// bound is reached, is halved when the target asks for patience, and gives way
// a little when attempts take much longer than they did. It is safe for
// concurrent use.
type limiter struct {
	mu      sync.Mutex
	most    float64
	limit   float64
	running int
	waiting []chan struct{}
	// changed is when the bound went down last: what was begun before says
	// nothing about the bound since.
	changed time.Time
	// smooth is the usual duration of a good attempt, floor the shortest that it
	// has been; the floor rises slowly, so that a target that became slower for
	// good is not starved for ever.
	smooth, floor float64
}

const (
	// firstShare of the most is where it begins: high enough to be quick with an
	// idle target, low enough not to knock one over that has just come back.
	firstShare = 0.5
	halved     = 0.5
	eased      = 0.9
	// slowdown is how much longer than usual attempts may get before the bound
	// gives way. Attempts differ in size, so it is well above 1.
	slowdown   = 3.0
	smoothing  = 0.1
	forgetting = 1.0005
)

func newLimiter(most int) *limiter {
	most = max(most, 1)
	return &limiter{most: float64(most), limit: max(1, firstShare*float64(most))}
}

// acquire waits until an attempt may run, at most for the time given. It
// returns false when none may.
func (l *limiter) acquire(ctx context.Context, patience time.Duration) bool {
	l.mu.Lock()
	if l.running < int(l.limit) && len(l.waiting) == 0 {
		l.running++
		l.mu.Unlock()
		return true
	}
	turn := make(chan struct{})
	l.waiting = append(l.waiting, turn)
	l.mu.Unlock()
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case <-turn:
		return true
	case <-ctx.Done():
	case <-timer.C:
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if i := slices.Index(l.waiting, turn); i >= 0 {
		l.waiting = slices.Delete(l.waiting, i, i+1)
		return false
	}
	return true // the turn came at the last moment
}

// release ends an attempt that says nothing about the target.
func (l *limiter) release() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.end()
}

// settle ends an attempt and learns from it.
func (l *limiter) settle(f *Failure, began, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.learn(f, began, now)
	l.end()
}

// hear learns from what a target says to one whose attempt has ended.
func (l *limiter) hear(f *Failure, began, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if f != nil {
		l.learn(f, began, now)
	}
}

func (l *limiter) learn(f *Failure, began, now time.Time) {
	used := 2*l.running >= int(l.limit)
	switch {
	case overloaded(f):
		l.lower(halved, began, now)
	case f != nil:
	case l.slow(now.Sub(began)):
		l.lower(eased, began, now)
	case used: // a bound that is far away says nothing about what is above it
		l.limit = min(l.limit+1/l.limit, l.most)
	}
}

func (l *limiter) lower(by float64, began, now time.Time) {
	if began.After(l.changed) || l.changed.IsZero() {
		l.limit, l.changed = max(1, l.limit*by), now
	}
}

// slow takes note of the duration of a good attempt.
func (l *limiter) slow(took time.Duration) bool {
	s := took.Seconds()
	if l.smooth == 0 {
		l.smooth, l.floor = s, s
	}
	l.smooth += smoothing * (s - l.smooth)
	l.floor = min(l.floor*forgetting, l.smooth)
	return l.smooth > slowdown*l.floor
}

// end lets as many go as the bound allows.
func (l *limiter) end() {
	l.running--
	for len(l.waiting) > 0 && l.running < int(l.limit) {
		close(l.waiting[0])
		l.waiting = l.waiting[1:]
		l.running++
	}
}

func (l *limiter) bound() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return int(l.limit)
}

// turn is the right to write to a target. It is given on as soon as all is
// written: to read back is little work for a target, and waits for answers.
type turn struct {
	limiter *limiter // nil where nobody has to wait
	began   time.Time
	given   bool
}

// turnPatience bounds how long a worker waits for its turn: with several
// targets it must come free for the others.
const turnPatience = 5 * time.Second

// turnFor waits for a turn at the target of a row; nil when none came. It is
// taken before the row, which nobody else could work while it waited.
func (s *Service) turnFor(ctx context.Context, deliveryID string) (*turn, error) {
	name := ""
	if len(s.targets) == 1 {
		name = s.targets[0] // a row of a target that is gone waits with the others, no harm
	} else {
		d, err := s.store.Delivery(ctx, deliveryID)
		if err != nil {
			return nil, err
		}
		name = d.Target
	}
	engine := s.engines[name]
	if engine == nil {
		return &turn{}, nil
	}
	if !engine.limiter.acquire(ctx, turnPatience) {
		return nil, ctx.Err()
	}
	return &turn{limiter: engine.limiter}, nil
}

// settle gives the turn on, and tells the limiter how the writing ended, or what
// came after it.
func (t *turn) settle(f *Failure, now time.Time) {
	switch {
	case t.limiter == nil:
	case t.given:
		t.limiter.hear(f, t.began, now)
	default:
		t.given = true
		t.limiter.settle(f, t.began, now)
	}
}

// end gives a turn back that was not used.
func (t *turn) end() {
	if t.limiter != nil && !t.given {
		t.limiter.release()
	}
}

// overloaded reports whether the target said that it has too much to do.
func overloaded(f *Failure) bool {
	return f != nil && (f.Status == http.StatusTooManyRequests || f.Status == http.StatusServiceUnavailable || f.Status == http.StatusGatewayTimeout)
}
