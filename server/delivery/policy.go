package delivery

import (
	"context"
	"math/rand/v2"
	"time"

	"enbloc/server/store"
	"enbloc/server/target"
)

const (
	firstWait   = time.Second
	longestWait = 10 * time.Minute
	// A patient is registered by people, so asking more often than every few
	// minutes gains nothing.
	firstPark   = 5 * time.Minute
	longestPark = time.Hour
	// Trouble of the whole target (credentials, address) is mended by people too.
	configWait = time.Minute
)

// backoff is exponential with full jitter above half of the step, so that rows
// which failed together do not come back together. Attempt counts from 1.
func backoff(first, longest time.Duration, attempt int) time.Duration {
	step := longest
	if attempt < 20 {
		step = min(first<<(attempt-1), longest)
	}
	return step/2 + rand.N(step/2+1)
}

// defaultBackoff is the wait after a failed attempt.
func defaultBackoff(attempt int) time.Duration { return backoff(firstWait, longestWait, attempt) }

// spent reports whether a row has been tried for as long as the budget allows.
// Time counts in which it was tried, and not its age: a row that was held back by
// a conflict for days, or that lay in a machine which was off, has not been tried
// yet, and a clock that jumps ahead has tried nothing. So no more of the time
// between two attempts counts than anything ever waits.
func (s *Service) spent(ctx context.Context, d store.Delivery, now time.Time) bool {
	if now.Sub(d.Created) < s.budget {
		return false
	}
	attempts, err := s.store.Attempts(ctx, d.ID)
	if err != nil {
		s.log.WarnContext(ctx, "attempts of delivery cannot be read; it is tried on", "delivery", d.ID, "error", err)
		return false
	}
	return tried(attempts, d.Created, now) >= s.budget
}

// tried is how long a row has been tried since it was accepted or sent again.
func tried(attempts []store.Attempt, since, now time.Time) time.Duration {
	var sum time.Duration
	for i, a := range attempts {
		if a.Started.Before(since) {
			continue
		}
		next := now
		if i+1 < len(attempts) {
			next = attempts[i+1].Started
		}
		sum += min(max(next.Sub(a.Started), 0), store.LongestWait)
	}
	return sum
}

// next decides what becomes of a row after a failure: its state, and when it is
// tried again. Time, not number, ends the trying: a weekend without the target
// must not cost a report.
func (s *Service) next(d store.Delivery, f *Failure, spent bool, now time.Time) (store.DeliveryState, time.Time) {
	switch f.Class {
	case target.Conflict:
		return store.InConflict, now
	case target.Permanent:
		switch f.Reason {
		case LaterDelivered:
			return store.Superseded, now
		case Withheld:
			return store.Withheld, now
		}
		return store.Dead, now
	}
	if spent {
		return store.Dead, now
	}
	wait := s.wait(d, f)
	if s.longest > 0 {
		wait = min(wait, s.longest)
	}
	wait = max(wait, f.After)
	if f.Class == target.Park {
		return store.ParkedDelivery, now.Add(wait)
	}
	return store.Retrying, now.Add(wait)
}

func (s *Service) wait(d store.Delivery, f *Failure) time.Duration {
	if s.backoff != nil {
		return s.backoff(d.Attempts)
	}
	switch f.Class {
	case target.Park:
		return backoff(firstPark, longestPark, d.Attempts)
	case target.Auth, target.StepDown:
		return max(defaultBackoff(d.Attempts), configWait)
	}
	return defaultBackoff(d.Attempts)
}
