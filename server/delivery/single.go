package delivery

import (
	"context"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// sendSingly writes ops one request at a time. Each step is in the ledger before
// the next one begins, so that whatever ends the run in the middle, the next one
// goes on where it stopped and has at most one step in doubt.
func (r *run) sendSingly(ctx context.Context, ops []op) *Failure {
	waiting := false // something has to be written a second time, or later
	for _, o := range inOrder(ops) {
		if waiting && o.kind == "Provenance" {
			continue // it says that all is written, so it waits until it is true
		}
		body := o.linked(references(r.g, r.ledger, r.target.Rung))
		if dangling(body) {
			waiting = true
			if o.action != create {
				continue // the next pass knows the places of what this one creates
			}
			o.partial = true
			var err error
			if body, err = pruned(body); err != nil {
				return &Failure{Class: target.Permanent, Reason: OurMistake, Cause: err}
			}
		}
		stood, failure := r.step(ctx, o, body)
		if err := r.save(ctx, 0); err != nil {
			return &Failure{Class: target.Retry, Reason: OurMistake, Uncertain: true, Cause: err}
		}
		if failure != nil || !stood {
			return failure
		}
	}
	return nil
}

// step writes one resource. Without a failure it says whether the resource
// stands now; if not, the target was read and all has to be planned again.
func (r *run) step(ctx context.Context, o op, body []byte) (stood bool, failure *Failure) {
	a := r.write1(ctx, o, body)
	r.result.HTTPStatus, r.result.RequestID = a.Status, a.RequestID
	reaction := a.Reaction(r.now())
	if reaction.Class != target.Done {
		issues := target.ReadIssues(a.Body)
		for i := range issues {
			issues[i].Entry = 0 // one request, so it is about this resource
		}
		return false, r.refused(ctx, []op{o}, a, reaction, issues)
	}
	if failure := r.take(ctx, []op{o}, []fhirserver.EntryResult{fhirserver.ReadSingle(a)}, a); failure != nil {
		return false, failure
	}
	if _, known := r.ledger[o.key]; !known {
		// It was answered as done and is not found: the search may be late.
		return false, &Failure{Class: target.Retry, Reason: NotReadBack, Uncertain: true, RequestID: a.RequestID}
	}
	if o.action == create && r.target.FirstWrite == AfterSearch {
		return true, r.doubles(ctx, []op{o})
	}
	return true, nil
}

func (r *run) write1(ctx context.Context, o op, body []byte) fhirserver.Answer {
	client := r.target.Client
	switch {
	case o.entry.ServerID != "":
		return client.Update(ctx, o.kind, o.entry.ServerID, withID(body, o.entry.ServerID), o.entry.Version)
	case r.target.FirstWrite == WithClientID:
		return client.Update(ctx, o.kind, o.key, withID(body, o.key), "")
	case r.target.FirstWrite == AfterSearch:
		return client.Create(ctx, o.kind, body, "")
	}
	return client.Create(ctx, o.kind, body, o.condition())
}
