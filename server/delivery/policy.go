package delivery

import (
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

// next decides what becomes of a row after a failure: its state, and when it is
// tried again. Age, not number, ends the trying: a weekend without the target
// must not cost a report.
func (s *Service) next(d store.Delivery, f *Failure, now time.Time) (store.DeliveryState, time.Time) {
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
	if now.Sub(d.Created) >= s.budget {
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
