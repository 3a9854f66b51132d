package delivery

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"github.com/riverqueue/river"

	"enbloc/mapping/graph"
	"enbloc/server/fault"
	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// worker is what the queue calls for each job.
type worker struct {
	river.WorkerDefaults[jobArgs]
	service *Service
}

// soon is how long a job waits that met another worker at its case.
const soon = 2 * time.Second

// Work makes one attempt at one row. An error goes back to the queue only when
// our own store did not work; everything else is written into the row.
func (w *worker) Work(ctx context.Context, job *river.Job[jobArgs]) error {
	s := w.service
	life := s.presence.Life()
	if life.Err() != nil {
		return river.JobSnooze(soon) // somebody else may believe that we are gone
	}
	// A claim goes by a clock that may be put forward while it is held: it must not
	// be taken for abandoned by the very process that works it.
	if _, working := s.working.LoadOrStore(job.Args.DeliveryID, nil); working {
		return river.JobSnooze(soon)
	}
	defer s.working.Delete(job.Args.DeliveryID)
	turn, err := s.turnFor(ctx, job.Args.DeliveryID)
	switch {
	case fault.Is(err, fault.NotFound):
		return nil // the row was cleared away; a job about nothing
	case err != nil:
		return err
	case turn == nil:
		return river.JobSnooze(soon)
	}
	defer turn.end()
	d, verdict, err := s.store.Claim(ctx, s.tenant, job.Args.DeliveryID, s.worker, s.now(), s.attempt+s.margin)
	switch {
	case fault.Is(err, fault.NotFound):
		// The row was cleared away, or is another tenant's and its job was made before
		// the tenants had queues of their own: a process of that tenant finds a row
		// without a job.
		return nil
	case err != nil:
		return err
	}
	switch verdict {
	case store.Closed:
		return nil
	case store.Early:
		return river.JobSnooze(max(d.NextAttempt.Sub(s.now()), 0))
	case store.Blocked:
		if d.State == store.Waiting {
			return nil // whoever settles the row before wakes this one
		}
		return river.JobSnooze(soon)
	}
	wait, err := s.work(ctx, d, turn, life)
	if err != nil || wait < 0 {
		return err
	}
	return river.JobSnooze(wait)
}

// work makes the attempt and writes its outcome down. It returns how long the
// job shall sleep, negative when the row is settled. It is broken off when this
// process cannot show any more that it lives: others will take the row.
func (s *Service) work(ctx context.Context, d store.Delivery, t *turn, life context.Context) (time.Duration, error) {
	started, began := s.now(), s.steady()
	attempt, cancel := context.WithTimeout(ctx, s.attempt)
	over := context.AfterFunc(life, cancel)
	result, failure := s.guarded(attempt, d, t)
	over()
	cancel()
	now, took := s.now(), s.steady().Sub(began)
	o := s.outcome(d, result, failure, failure != nil && s.spent(ctx, d, now), now)
	a := store.Attempt{Started: started, Duration: took, HTTPStatus: result.HTTPStatus, RequestID: result.RequestID, Class: string(target.Done)}
	if failure != nil {
		a.Class, a.Reason, a.Diagnostics = string(failure.Class), string(failure.Reason), diagnostics(failure)
		if failure.RequestID != "" {
			a.HTTPStatus, a.RequestID = failure.Status, failure.RequestID
		}
	}
	s.report(ctx, d, o, a, result)
	if failure.ours() {
		s.log.ErrorContext(ctx, "delivery failed by our mistake", "delivery", d.ID, "case", d.CaseKey, "sequence", d.Sequence, "target", d.Target,
			"reason", failure.Reason, "error", loggable(failure.Cause))
	}
	if err := s.finish(ctx, d, result, o, a, now); err != nil {
		return 0, err
	}
	if !o.State.Open() {
		return -1, nil
	}
	return max(o.NextAttempt.Sub(s.now()), 0), nil
}

// try renders and delivers. A panic becomes a failure: one malformed case must
// not take the others with it, nor hold its row until the lease runs out.
func (s *Service) try(ctx context.Context, d store.Delivery, written func()) (result Result, failure *Failure) {
	defer func() {
		if p := recover(); p != nil {
			s.log.ErrorContext(ctx, "delivery panicked", "delivery", d.ID, "stack", string(debug.Stack()))
			failure = &Failure{Class: target.Unknown, Reason: OurMistake, Uncertain: true, Cause: errors.New("panic")}
		}
	}()
	engine := s.engines[d.Target]
	if engine == nil {
		return Result{}, &Failure{Class: target.StepDown, Reason: UnknownTarget}
	}
	if result, failure, done := s.gated(ctx, engine, d); done {
		return result, failure
	}
	g, err := s.renderFor(ctx, engine.target, d.CaseKey, d.Sequence)
	if err != nil {
		return Result{}, renderFailure(err)
	}
	result, err = engine.deliver(ctx, g, d.Uncertain || engine.target.Adopt, written)
	return result, s.overtaken(ctx, engine, g, asFailure(err))
}

// renderFor makes the graph of a state as a target is to get it.
func (s *Service) renderFor(ctx context.Context, t Target, caseKey string, sequence int) (graph.Graph, error) {
	if t.Render != nil {
		return t.Render(ctx, caseKey, sequence)
	}
	return s.render(ctx, caseKey, sequence)
}

// guarded is try behind the circuit of the target.
func (s *Service) guarded(ctx context.Context, d store.Delivery, t *turn) (Result, *Failure) {
	engine := s.engines[d.Target]
	if engine == nil {
		return s.try(ctx, d, nil)
	}
	p, why, wait := engine.circuit.admit(s.steady())
	if why != "" {
		// Nothing was sent; a doubt from before stays.
		return Result{}, &Failure{Class: target.Retry, Reason: why, After: wait, Uncertain: d.Uncertain}
	}
	place := &seat{seats: s.seats}
	place.sit(ctx)
	t.began = s.steady()
	result, failure := s.try(fhirserver.WithOutside(ctx, place.outside), d, func() { t.settle(nil, s.steady()) })
	place.rise()
	if brokenOff(ctx, failure) {
		engine.circuit.drop(p)
		return result, failure
	}
	t.settle(failure, s.steady())
	blamed := failure
	if alive(result) && ofTarget(failure) {
		blamed = nil
	}
	if engine.circuit.settle(p, blamed, s.steady()) {
		s.log.WarnContext(ctx, "circuit of target changed", "target", d.Target, "state", engine.circuit.state(s.steady()))
	}
	return result, failure
}

// brokenOff reports whether an attempt had no answer because we cancelled it: this
// process stops, or cannot show that it lives. The target is not to blame.
func brokenOff(attempt context.Context, f *Failure) bool {
	return f != nil && f.Status == 0 && errors.Is(attempt.Err(), context.Canceled)
}

func renderFailure(err error) *Failure {
	f := &Failure{Class: target.Retry, Reason: OurMistake, Cause: err}
	if fault.Is(err, fault.Invalid) {
		f.Class, f.Reason = target.Permanent, ContentInvalid
	}
	return f
}

// asFailure finds the failure in an engine's error; any other error is ours.
func asFailure(err error) *Failure {
	if err == nil {
		return nil
	}
	var f *Failure
	if errors.As(err, &f) {
		return f
	}
	return &Failure{Class: target.Retry, Reason: OurMistake, Uncertain: true, Cause: err}
}

// outcome is what the row will say.
func (s *Service) outcome(d store.Delivery, r Result, f *Failure, spent bool, now time.Time) store.Outcome {
	if f == nil {
		o := store.Outcome{State: store.Delivered}
		if r.Removal != nil {
			o.Reason, o.Explanation, o.Details = "withdrawn", "The case was withdrawn. "+r.Removal.sentence(), details(map[string]any{"removal": r.Removal})
			return o
		}
		if text, step := s.steppedText(d.Target); step != nil {
			o.Reason, o.Explanation = "stepped-down", text
		}
		if n := len(r.Doubles); n > 0 {
			o.Reason, o.Details = "doubles-marked", details(map[string]any{"doubles": r.Doubles})
			o.Explanation = fmt.Sprintf("The target held %d further copies of parts of the record. They are marked as entered in error there; those that the reports name stand.", n)
		}
		if alarms := r.Alarms(); len(alarms) > 0 {
			o.State, o.Reason = store.DeliveredWithDifferences, "stands-with-differences"
			o.Explanation = fmt.Sprintf("The target keeps %d element(s) other than sent, the first at %s (%s).", len(alarms), alarms[0].Path, alarms[0].Role)
			o.Details = details(map[string]any{"differences": alarms})
		}
		return o
	}
	// A doubt from before stays until an attempt got as far as writing.
	doubt := f.Uncertain || (d.Uncertain && r.HTTPStatus == 0)
	o := store.Outcome{Reason: string(f.Reason), Explanation: f.Reason.Sentence(), Uncertain: doubt}
	o.State, o.NextAttempt = s.next(d, f, spent, now)
	if f.Reason == Withheld {
		o.Explanation += " " + r.Removal.sentence()
		o.Details = details(map[string]any{"removal": r.Removal})
		return o
	}
	if o.State == store.Dead && f.Class != target.Permanent {
		o.Explanation = BudgetSpent.Sentence() + " Last: " + o.Explanation
		o.Reason = string(BudgetSpent)
	}
	if len(f.Problems) > 0 {
		o.Explanation += " First: " + strings.TrimSpace(describe(f.Problems[0])) + "."
	}
	o.Details = details(map[string]any{"problems": f.Problems, "conflicts": f.Conflicts, "last": f.Reason})
	return o
}

func details(m map[string]any) []byte {
	body, err := json.Marshal(m)
	if err != nil { // plain strings always marshal
		return nil
	}
	return body
}

func diagnostics(f *Failure) string {
	var parts []string
	for _, p := range f.Problems {
		parts = append(parts, strings.TrimSpace(describe(p)))
	}
	for _, c := range f.Conflicts {
		parts = append(parts, fmt.Sprintf("%s: %s %s", c.Role, c.Path, c.Kind))
	}
	return strings.Join(parts, "; ")
}

// finish writes down what came of an attempt. While the store cannot be written
// (a disk is full, Postgres starts again) it goes on trying for a while, also
// when the service is stopping: what is not written down has to be found out at
// the target again, once the row's lease has ended.
func (s *Service) finish(ctx context.Context, d store.Delivery, r Result, o store.Outcome, a store.Attempt, now time.Time) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.margin/2)
	defer cancel()
	first := d.Sequence == 1 && d.Attempts == 1
	for tries := 1; ; tries++ {
		err := s.writeDown(ctx, d, r, o, a, now, first)
		if first && fault.Is(err, fault.Conflict) { // the attempt has saved something before
			first = false
			continue
		}
		if !fault.Is(err, fault.Unavailable) || ctx.Err() != nil {
			return err
		}
		if tries == 1 {
			s.log.WarnContext(ctx, "outcome of delivery cannot be written down yet", "delivery", d.ID, "error", err)
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(backoff(50*time.Millisecond, time.Second, tries)):
		}
	}
}

// writeDown records what the attempt has learned, gives the row back, and wakes
// the next row of the case when this one no longer holds it back. First: nothing
// of the case should be in the ledger.
func (s *Service) writeDown(ctx context.Context, d store.Delivery, r Result, o store.Outcome, a store.Attempt, now time.Time, first bool) error {
	return s.store.InTx(ctx, func(tx *store.Tx) error {
		// Whoever adds a state to the case waits, so that the next row is seen here
		// or sees that this one is settled.
		tx.LockCase(d.CaseKey)
		var next store.Delivery
		if o.State != store.Retrying && o.State != store.InConflict { // which still hold back the next ones
			var err error
			if next, err = nextOpen(ctx, tx, d); err != nil {
				return err
			}
		}
		put := tx.PutLedger
		if first {
			put = tx.OpenLedger
		}
		return tx.Last(ctx, func() error {
			if err := record(ctx, tx, put, d.Target, d.CaseKey, r.learned, r.complete, now); err != nil {
				return err
			}
			if err := tx.Finish(ctx, d, o, a, now); err != nil {
				return err
			}
			if o.State == store.Delivered || o.State == store.DeliveredWithDifferences {
				if err := tx.SupersedeBelow(ctx, d.Target, d.CaseKey, d.Sequence, now); err != nil {
					return err
				}
			}
			return s.wakeNext(ctx, tx, next)
		})
	})
}

// report logs and counts an attempt: ids, words and numbers of our own only.
func (s *Service) report(ctx context.Context, d store.Delivery, o store.Outcome, a store.Attempt, r Result) {
	s.metrics.attempt(d.Target, a, o.State, r)
	s.log.InfoContext(ctx, "delivery attempted", "delivery", d.ID, "case", d.CaseKey, "sequence", d.Sequence, "target", d.Target,
		"attempt", d.Attempts, "class", a.Class, "state", o.State, "reason", o.Reason, "status", a.HTTPStatus, "request_id", a.RequestID,
		"duration_ms", a.Duration.Milliseconds())
}
