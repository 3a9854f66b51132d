package delivery

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// send brings ops to the target in the way of its rung. A nil failure means that
// the caller plans again: either all is there, or the ledger has learned
// something.
func (r *run) send(ctx context.Context, ops []op) *Failure {
	switch {
	case r.target.Rung >= RungSingle:
		return r.sendSingly(ctx, ops)
	case r.inParts() && len(ops) > r.target.MaxEntries:
		return r.sendInParts(ctx, ops)
	}
	return r.transact(ctx, ops)
}

// transact posts one transaction and takes note of what stands afterwards.
func (r *run) transact(ctx context.Context, ops []op) *Failure {
	refs := r.references(ops)
	if r.target.LooksUp {
		r.leave(refs)
	}
	a := r.target.Client.Transaction(ctx, buildBundle(r.target, ops, refs))
	r.result.HTTPStatus, r.result.RequestID = a.Status, a.RequestID
	reaction := a.Reaction(r.now())
	if a.Status == http.StatusRequestEntityTooLarge {
		if n := r.tooLarge(ctx, len(ops)); n > 0 {
			r.target.MaxEntries, r.shrunk = n, true
			return nil // plan again, in parts
		}
	}
	if r.target.LooksUp && refusesSearch(a.Status) {
		r.target.LooksUp, r.asLinks = false, a.Status != http.StatusPreconditionFailed // which a lost race is too
		return nil                                                                     // plan again, with links
	}
	if reaction.Class != target.Done {
		failure := r.refused(ctx, ops, a, reaction, target.ReadIssues(a.Body))
		r.locate(ctx, ops, refs, failure)
		return failure
	}
	results, err := fhirserver.ReadTransaction(a.Body)
	if err != nil {
		// 200 with a body that is no answer: the target may have stored it.
		f := r.failure(a, target.Reaction{Class: target.Unknown})
		f.Uncertain, f.Cause = true, err
		return f
	}
	r.accepted(r.asLinks)
	if len(results) != len(ops) {
		results = nil // cannot be paired; read instead
	}
	if failure := r.take(ctx, ops, results, a); failure != nil || !r.mayDouble() {
		return failure
	}
	return r.doubles(ctx, ops)
}

// mayDouble reports whether what was just created may stand twice: a conditional
// update is not safe under races, and what an earlier attempt sent may be committed
// while the target already works on this one, conditions or not.
func (r *run) mayDouble() bool {
	return r.target.Rung == RungConditionalUpdate || r.doubted
}

// refusesSearch reports whether a transaction may have been refused for a
// reference that the target was to look up: known servers say 404, 400 or 412.
func refusesSearch(status int) bool {
	switch status {
	case http.StatusBadRequest, http.StatusNotFound, http.StatusPreconditionFailed, http.StatusUnprocessableEntity:
		return true
	}
	return false
}

// take reads every entry of an answer. Those that succeeded are noted even when
// others failed, because not every server that says transaction is atomic.
func (r *run) take(ctx context.Context, ops []op, results []fhirserver.EntryResult, a fhirserver.Answer) *Failure {
	stand := make([]standing, 0, len(ops))
	var failed, unread []op
	worst, issues := target.Reaction{Class: target.Done}, target.Issues{}
	for i, o := range ops {
		var e fhirserver.EntryResult
		if results != nil {
			e = results[i]
		}
		switch {
		case e.Status >= http.StatusBadRequest:
			reaction := target.React(e.Status, nil, e.Issues, r.now())
			if weight(reaction.Class) > weight(worst.Class) {
				worst = reaction
			}
			failed = append(failed, o)
			if len(e.Issues) == 0 {
				e.Issues = target.Issues{{Severity: "error"}}
			}
			for _, is := range e.Issues {
				is.Entry = len(failed) - 1
				issues = append(issues, is)
			}
		case placed(o, e):
			stand = append(stand, standing{o, e.ID, e.Version})
		default:
			unread = append(unread, o)
		}
	}
	r.note(stand)
	if len(unread) > 0 {
		failure := r.readUnplaced(ctx, unread)
		// Now that more ids are known, more links can be made literal.
		r.note(stand)
		if failure != nil {
			return failure
		}
	}
	if len(failed) == 0 {
		return nil
	}
	return r.refused(ctx, failed, a, worst, issues)
}

// weight orders what the entries of one answer mean for all of it: a lost race is
// settled by reading, and as long as one entry may go through later, another that
// never will does not end the trying.
func weight(c target.Class) int {
	switch c {
	case target.Done:
		return 0
	case target.Conflict:
		return 1
	case target.Permanent:
		return 2
	}
	return 3
}

// placed reports whether an entry of an answer says all that has to be known: a
// fresh create with id and version, or an update with its new version. A create
// that matched (200) is not among them, as nobody knows what stands there.
func placed(o op, e fhirserver.EntryResult) bool {
	if e.Version == "" || (e.Type != "" && e.Type != o.kind) {
		return false
	}
	if o.entry.ServerID != "" {
		return e.ID == "" || e.ID == o.entry.ServerID
	}
	return e.Status == http.StatusCreated && fhirserver.ValidID(e.ID)
}

// standing is an op that is on the target now.
type standing struct {
	op          op
	id, version string
}

// note takes what stands into the ledger. References are made literal only when
// all ids of the bundle are known.
func (r *run) note(all []standing) {
	for i, s := range all {
		if s.id == "" {
			all[i].id = s.op.entry.ServerID
		}
		r.ledger[s.op.key] = store.LedgerEntry{RoleKey: s.op.key, ServerID: all[i].id} // its place, for the links
	}
	refs := r.references(nil)
	r.unsaved = slices.Grow(r.unsaved, len(all))
	for _, s := range all {
		r.learn(s.op.ledgerEntry(r.g.CaseKey, r.g.Sequence, s.id, s.version, refs), s.op.effect())
	}
}

// readUnplaced finds out by reading what an answer did not say.
func (r *run) readUnplaced(ctx context.Context, ops []op) *Failure {
	if _, failure := r.reconcile(ctx, ops); failure != nil {
		if failure.Class != target.Conflict {
			failure.Uncertain = true
		}
		return failure
	}
	return nil
}

// refused decides about an answer that was not success. Where a condition may
// have been the cause, the record is read before anything is believed.
func (r *run) refused(ctx context.Context, ops []op, a fhirserver.Answer, reaction target.Reaction, issues target.Issues) *Failure {
	f := r.failure(a, reaction)
	f.Writing = true
	f.Problems = problems(ops, issues)
	byCondition := reaction.Class == target.Conflict || a.Status == http.StatusBadRequest || (a.Status == http.StatusOK && reaction.Class == target.Permanent)
	if !byCondition {
		// A proxy may say 503 when the server behind it died in the middle.
		f.Uncertain = !a.NotSent && (a.Err != nil || reaction.Class == target.Unknown || a.Status >= http.StatusInternalServerError)
		return f
	}
	learned, failure := r.reconcile(ctx, ops)
	switch {
	case failure != nil:
		failure.RequestID = f.RequestID
		return failure
	case learned || reaction.Class == target.Conflict:
		return nil // plan again: with what was learned, or after a race
	}
	return f
}

// failure is the bare failure that an answer means.
func (r *run) failure(a fhirserver.Answer, reaction target.Reaction) *Failure {
	f := &Failure{Class: reaction.Class, After: reaction.After, Status: a.Status, RequestID: a.RequestID, Cause: a.Err, Reason: reasons[reaction.Class]}
	if a.NotSent {
		f.Reason = NoAnswer
	}
	if f.Class == target.Done { // success around a body that cannot be used
		f.Class = target.Retry
	}
	return f
}

// unread is the failure of a request that only reads. It cannot have lost a
// race, whatever the answer says: a conflict would stop the case for nothing.
func (r *run) unread(a fhirserver.Answer) *Failure {
	f := r.failure(a, a.Reaction(r.now()))
	if f.Class == target.Conflict {
		f.Class, f.Reason = target.Retry, NoAnswer
	}
	return f
}

var reasons = map[target.Class]Reason{
	target.Retry: TargetBusy, target.Unknown: NoAnswer, target.Permanent: Refused, target.Conflict: LostRace,
	target.StepDown: TargetCannot, target.Auth: CredentialsRefused, target.Park: ReferenceMissing, target.Done: NoAnswer,
}

// problems says in terms of the case what a target found wrong. A server that
// does not name the entry is met halfway: when one resource only has the type
// that the path begins with, it is that one.
func problems(ops []op, issues target.Issues) []Problem {
	var all []Problem
	for _, is := range issues {
		if is.Severity == "information" || is.Severity == "warning" {
			continue
		}
		p := Problem{Path: is.Path, Severity: is.Severity, Code: is.Code, Hint: is.Hint}
		if is.Entry >= 0 && is.Entry < len(ops) {
			p.Role, p.Report = ops[is.Entry].role, ops[is.Entry].pointers
			if p.Path != "" && !startsWithType(p.Path, ops[is.Entry].kind) {
				p.Path = ops[is.Entry].kind + "." + p.Path
			}
		} else if alone := only(ops, func(o op) bool { return startsWithType(is.Path, o.kind) }); len(alone) == 1 {
			p.Role, p.Report = alone[0].role, alone[0].pointers
		}
		all = append(all, p)
	}
	return all
}

func startsWithType(path, kind string) bool {
	return path == kind || (len(path) > len(kind) && path[:len(kind)+1] == kind+".")
}

// describe is one line for a row: which part, which element.
func describe(p Problem) string {
	where := p.Role
	if where == "" {
		where = "part not named by the target"
	}
	if len(p.Report) > 0 {
		where += " (report: " + strings.Join(p.Report[:min(len(p.Report), 3)], ", ") + ")"
	}
	if p.Located {
		where += " (found by having each part checked alone)"
	}
	return fmt.Sprintf("%s: %s %s %s", where, p.Path, p.Code, p.Hint)
}
