package delivery

import (
	"context"

	"enbloc/server/fault"
	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// Passage is whether a state of a case may stand on a target.
type Passage string

// The passages.
const (
	// Pass: it may.
	Pass Passage = "pass"
	// Withhold: the patient has not agreed, or has objected. Nothing is sent, and
	// what was sent earlier is taken back.
	Withhold Passage = "withhold"
	// TakeBack: the case was withdrawn by its author. What was sent is taken back,
	// and with that the row is delivered.
	TakeBack Passage = "take-back"
)

// Gate is asked before anything of a state is sent to a target, at each attempt.
// An error means that nobody knows: nothing is sent, and it is asked again.
type Gate func(ctx context.Context, caseKey string, sequence int) (Passage, error)

// gated asks the gate of a target. It returns done when the row needs no sending
// any more, or may have none now.
func (s *Service) gated(ctx context.Context, e *Engine, d store.Delivery) (result Result, failure *Failure, done bool) {
	if e.target.Gate == nil {
		return Result{}, nil, false
	}
	back := fhirserver.Outside(ctx) // whoever is asked may take long
	passage, err := e.target.Gate(ctx, d.CaseKey, d.Sequence)
	back()
	switch {
	case fault.Is(err, fault.Invalid):
		return Result{}, renderFailure(err), true
	case err != nil:
		s.log.WarnContext(ctx, "consent could not be asked: nothing was sent", "delivery", d.ID, "target", d.Target, "error", loggable(err))
		return Result{}, &Failure{Class: target.Retry, Reason: ConsentUnknown, Uncertain: d.Uncertain, Cause: err}, true
	case passage == Pass:
		return Result{}, nil, false
	}
	g, err := s.renderFor(ctx, e.target, d.CaseKey, d.Sequence)
	if err != nil {
		return Result{}, renderFailure(err), true
	}
	result, failure = e.remove(ctx, g)
	if failure == nil && passage != TakeBack {
		failure = &Failure{Class: target.Permanent, Reason: Withheld}
	}
	return result, failure, true
}

// ReviewConsent asks for every case that stands on a target, or was withheld from
// it, whether that is still right, and makes those due for which it is not. ask
// is the gate, or one that answers the same faster. It returns how many it made
// due; after an error the rest is as it was.
func (s *Service) ReviewConsent(ctx context.Context, name string, ask Gate) (changed int, err error) {
	for after := ""; ; {
		rows, err := s.store.LastSettled(ctx, s.tenant, name, after, sweepBatch)
		if err != nil || len(rows) == 0 {
			return changed, err
		}
		for _, d := range rows {
			after = d.ID
			passage, err := ask(ctx, d.CaseKey, d.Sequence)
			if err != nil {
				return changed, err
			}
			if passage == TakeBack || (passage == Withhold) == (d.State == store.Withheld) {
				continue
			}
			err = s.store.InTx(ctx, func(tx *store.Tx) error {
				if err := tx.Review(ctx, d.ID, s.now()); err != nil {
					return err
				}
				return s.queue.wakeTx(ctx, tx, d.ID, d.Target)
			})
			switch {
			case err == nil:
				changed++
			case !fault.Is(err, fault.Conflict): // else somebody was faster
				return changed, err
			}
		}
	}
}
