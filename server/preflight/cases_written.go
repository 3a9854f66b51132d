package preflight

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/target"
)

// deletesAgain finds out whether a resource can be deleted, with one.
func (r *run) deletesAgain(ctx context.Context) bool {
	kind, more := "Observation", map[string]any(nil)
	if !r.facts.creates {
		kind, more = "DocumentReference", map[string]any{"content": attachmentOf([]byte("HTEST"), "text/plain")}
	}
	e, a := r.post(ctx, r.canary(kind, "deleted", more), "")
	if !done(a) || e.ID == "" {
		return false
	}
	r.saw("delete "+kind, r.Client.Delete(ctx, kind, e.ID))
	a = r.saw("read "+kind, r.Client.Read(ctx, kind, e.ID))
	return a.Status == http.StatusGone || a.Status == http.StatusNotFound
}

// byWriting delivers a case as the service would and takes it back. No patient is
// ever made on a target: one that it does not know is named by identifier.
func (r *run) byWriting(rung int, first delivery.FirstWrite) func(context.Context, graph.Graph) (fate, bool) {
	t := delivery.Target{Name: "preflight", Client: r.Client, Rung: rung, FirstWrite: first, MaxEntries: r.MaxEntries, Patient: delivery.PatientLogical, Fixed: true}
	if r.mostEntries > 1 && (t.MaxEntries == 0 || r.mostEntries < t.MaxEntries) {
		t.MaxEntries = r.mostEntries
	}
	if r.facts.testPatient {
		t.Patient = delivery.PatientMustExist
	}
	if r.Pipeline != nil && r.Pipeline.Dress.Document {
		t.Rung = delivery.RungDocument // such a dressing goes with no other
	}
	o := delivery.EngineOptions{Ledger: delivery.NewMemoryLedger(), Void: fhir.Void, Clock: r.Clock}
	engine := delivery.NewEngine(t, o)
	t.Rung = delivery.RungSingle
	singly := delivery.NewEngine(t, o)
	return func(ctx context.Context, g graph.Graph) (fate, bool) {
		if ctx.Err() != nil {
			return fate{}, false
		}
		result, failure := r.deliver(ctx, engine, g)
		stand := result.Items
		if failure != nil && rung < delivery.RungSingle && nameless(failure) && ctx.Err() == nil {
			// The server did not say which entry it means: one by one shows it.
			again, f := r.deliver(ctx, singly, g)
			stand = append(stand, again.Items...)
			if f != nil && !nameless(f) {
				failure = f
			}
		}
		over := ctx.Err() != nil
		r.takeCaseBack(ctx, engine, g, stand)
		f := fate{differs: len(result.Alarms()) > 0}
		if failure != nil {
			f.refusals = refusalsOf(g, failure)
		}
		return f, !over
	}
}

// deliver sends a case, and again when the target asks for a little patience.
func (r *run) deliver(ctx context.Context, e *delivery.Engine, g graph.Graph) (result delivery.Result, failure *delivery.Failure) {
	for range busyTrials {
		start := time.Now()
		var err error
		result, err = e.Deliver(ctx, g)
		r.report.Transcript = append(r.report.Transcript, Step{"deliver a case", result.HTTPStatus, result.RequestID, time.Since(start).Milliseconds()})
		if failure = asFailure(err); failure == nil || failure.Class != target.Retry || failure.After <= 0 || failure.After > shortBusy {
			break
		}
		wait(ctx, failure.After)
	}
	return result, failure
}

// takeCaseBack removes a case, also when time is over. What stays is listed; what
// cases share goes with the canaries, when no case needs it any more.
func (r *run) takeCaseBack(ctx context.Context, e *delivery.Engine, g graph.Graph, stand []delivery.Item) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), takingBack)
	defer cancel()
	shared := map[string]json.RawMessage{}
	for _, res := range g.Resources {
		if res.Shared {
			shared[res.Key] = res.Body
		}
	}
	start := time.Now()
	removed, _ := e.Remove(ctx, g) // what it did shows in its items
	r.report.Transcript = append(r.report.Transcript, Step{"take a case back", removed.HTTPStatus, removed.RequestID, time.Since(start).Milliseconds()})
	effects := map[string]delivery.Effect{}
	for _, i := range removed.Items {
		effects[i.Type+"/"+i.ServerID] = i.Effect
	}
	listed := map[string]bool{}
	for _, i := range stand {
		place := i.Type + "/" + i.ServerID
		if i.ServerID == "" || listed[place] {
			continue
		}
		listed[place] = true
		if body, ok := shared[i.Key]; ok {
			var tree map[string]any
			_ = json.Unmarshal(body, &tree) // it was delivered, so it is JSON
			r.remember(i.Type, i.ServerID, i.Version, tree)
			continue
		}
		if effects[place] != delivery.Deleted {
			r.report.Leftovers = append(r.report.Leftovers, Leftover{i.Type, i.ServerID, effects[place] == delivery.Voided})
		}
	}
}

// asFailure is the failure of an error; any other is a mistake of ours.
func asFailure(err error) *delivery.Failure {
	var failure *delivery.Failure
	if err != nil && !errors.As(err, &failure) {
		failure = &delivery.Failure{Class: target.Permanent, Reason: delivery.OurMistake, Cause: err}
	}
	return failure
}
