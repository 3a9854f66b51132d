package delivery

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// A target can lose what its preflight found: transactions are switched off, a
// gateway in front bounds the size. What it refuses for good is given up while
// the service runs, as far as nothing is lost by it that a human has to agree
// to; the rest waits for one.

// Step says that a target refuses the rung it was set to and is written by a
// lower one since.
type Step struct {
	From Rung
	// Status is the answer that decided.
	Status int
	At     time.Time
}

// refusedFor is how often in a row a target must refuse an interaction that it
// still claims to offer: behind a gateway 404 is also the answer of a server
// that is being restarted.
const refusedFor = 3

// below is the rung to go on with when a target refuses the one in use; ok is
// false when there is none that a machine may choose. Only rungs that leave the
// same resources under the same keys are chosen: never conditional update, which
// can double, and never documents or files, which are another record. And never
// any when a human has fixed the rung.
func (t Target) below() (rung int, ok bool) {
	switch {
	case t.Fixed:
		return 0, false
	case t.Rung == RungClientIDs:
		return RungConditionalCreate, true
	case t.Rung == RungConditionalCreate, t.Rung == RungConditionalUpdate:
		return RungSingle, true
	}
	return 0, false
}

// present is the target as it is written now.
func (e *Engine) present() Target {
	e.way.mu.Lock()
	defer e.way.mu.Unlock()
	t := e.target
	if e.way.learned.Rung > 0 {
		t.Rung = e.way.learned.Rung
	}
	if n := e.way.learned.MaxEntries; n > 0 && (t.MaxEntries == 0 || n < t.MaxEntries) {
		t.MaxEntries = n
	}
	t.LooksUp = t.LooksUp && !e.way.asLinks
	return t
}

// step is the step down that is in force; nil when there is none.
func (e *Engine) step() *Step {
	e.way.mu.Lock()
	defer e.way.mu.Unlock()
	l := e.way.learned
	if l.Rung == 0 {
		return nil
	}
	from, _ := RungNumbered(l.Refused)
	return &Step{from, l.Status, l.Stepped}
}

// accepted notes that the target took a write by its rung; asLinks: after it had
// refused to look up what it names.
func (e *Engine) accepted(asLinks bool) {
	e.way.mu.Lock()
	defer e.way.mu.Unlock()
	e.way.refusals = 0
	e.way.asLinks = e.way.asLinks || asLinks
}

// refuses takes note that the target refused a rung as such, and reports whether
// another one is in force now.
func (e *Engine) refuses(ctx context.Context, t Target, status int) bool {
	rung, ok := t.below()
	if !ok || (status != http.StatusNotFound && status != http.StatusMethodNotAllowed && status != http.StatusNotImplemented) {
		return false
	}
	a := t.Client.Metadata(ctx)
	caps, err := fhirserver.ReadCapabilities(a.Body)
	e.way.mu.Lock()
	defer e.way.mu.Unlock()
	if l := e.way.learned.Rung; l > t.Rung {
		return true // another delivery was first
	}
	if a.Err != nil || a.Status != http.StatusOK || err != nil {
		e.way.refusals = 0 // it is not there as a whole, which says nothing about the rung
		return false
	}
	if !caps.Transaction() {
		rung = RungSingle
	} else if e.way.refusals++; e.way.refusals < refusedFor {
		return false
	}
	e.way.refusals = 0
	l := e.way.learned
	if l.Rung == 0 {
		l.Refused = e.target.Rung
	}
	l.Rung, l.Status, l.Stepped = rung, status, e.now()
	e.keep(ctx, l)
	return true
}

// tooLarge takes note that a transaction of n entries was refused as too large,
// and returns the number to try; 0 when one is too large already.
func (e *Engine) tooLarge(ctx context.Context, n int) int {
	if n <= 1 {
		return 0
	}
	e.way.mu.Lock()
	defer e.way.mu.Unlock()
	l := e.way.learned
	if half := n / 2; l.MaxEntries == 0 || half < l.MaxEntries {
		l.MaxEntries = half
		e.keep(ctx, l)
	}
	return l.MaxEntries
}

// keep makes something learned be in force, and remembers it for the next start.
// To forget it costs some refusals, so that a store which fails stops nothing.
func (e *Engine) keep(ctx context.Context, l store.Learned) {
	l.Target, l.At = e.target.Name, e.now()
	e.way.learned = l
	if e.way.remember != nil {
		e.way.remember(context.WithoutCancel(ctx), l)
	}
}

// remember keeps what an engine learns in the store.
func (s *Service) remember(ctx context.Context, l store.Learned) {
	attrs := []any{"target", l.Target, "rung", l.Rung, "refused", l.Refused, "status", l.Status, "max_entries", l.MaxEntries}
	if err := s.store.InTx(ctx, func(tx *store.Tx) error { return tx.PutLearned(ctx, l) }); err != nil {
		attrs = append(attrs, "error", err)
	}
	s.log.WarnContext(ctx, "target is written another way than it was set to", attrs...)
}

// recall gives an engine what was learned before the start. A rung that was set
// lower meanwhile, or fixed, makes a step void.
func (s *Service) recall(ctx context.Context, e *Engine) error {
	l, err := s.store.Learned(ctx, e.target.Name)
	if err != nil {
		return fmt.Errorf("reading what was learned of target %s: %w", e.target.Name, err)
	}
	if e.target.Fixed || l.Rung <= e.target.Rung {
		l.Rung = 0
	}
	e.way.learned, e.way.remember = l, s.remember
	return nil
}

// steppedText is what a delivered row says about the way it was written.
func (s *Service) steppedText(name string) (text string, step *Step) {
	e := s.engines[name]
	if e == nil {
		return "", nil
	}
	if step = e.step(); step == nil {
		return "", nil
	}
	rung, _ := RungNumbered(e.present().Rung)
	return fmt.Sprintf("Written by rung %d (%s), as the target refuses rung %d since %s (HTTP %d).",
		rung.Number, rung.Title, step.From.Number, step.At.UTC().Format(time.DateOnly), step.Status), step
}

// ofRung reports whether a failure says that the target refuses a rung as such.
func ofRung(f *Failure) bool {
	return f != nil && f.Class == target.StepDown && f.Writing
}
