package delivery

import (
	"context"

	"enbloc/server/target"
)

// Some targets bound the entries of a transaction. A case that has more goes in
// several: first whatever the reports rest on, with the references left out that
// lead to what has no place yet; then, in one transaction, these references, the
// reports and the Provenances. So what a half written case shows is the same as
// on the rung of single requests: no report without its parts.

// inParts reports whether a case may have to go in several transactions.
func (r *run) inParts() bool {
	return r.target.MaxEntries > 0 && r.target.Rung < RungSingle
}

// references are the places that a body may name: of what stands, and of the ops
// that go in the same transaction under an id of ours. Where a case goes in
// parts, an id of ours alone is no place yet.
func (r *run) references(together []op) map[string]string {
	if !r.inParts() {
		return references(r.g, r.ledger, r.target.Rung)
	}
	refs := references(r.g, r.ledger, RungConditionalCreate)
	for _, o := range together {
		if o.action == create && r.target.Rung == RungClientIDs {
			refs["urn:uuid:"+o.uuid] = o.kind + "/" + o.key
		}
	}
	return refs
}

// sendInParts sends the first part of too many ops; what is left is planned
// again. When nothing can come before the reports any more and it is still too
// much, the reports go first and what names them follows.
func (r *run) sendInParts(ctx context.Context, ops []op) *Failure {
	first, rest := r.beforeReports(inOrder(ops))
	if len(first) == 0 {
		first = append(only(rest, func(o op) bool { return stage(o) == 1 }), only(rest, func(o op) bool { return stage(o) != 1 })...)
	}
	for len(first) > 0 {
		n := min(len(first), r.target.MaxEntries)
		part, failure := r.part(first[:n])
		if failure != nil {
			return failure
		}
		if failure := r.transact(ctx, part); failure != nil || r.shrunk {
			return failure
		}
		if err := r.save(ctx, 0); err != nil {
			return &Failure{Class: target.Retry, Reason: OurMistake, Uncertain: true, Cause: err}
		}
		first = first[n:]
	}
	return nil
}

// beforeReports are the ops that can be written before the reports: what is new,
// with or without all of its references, and updates that name nothing new.
func (r *run) beforeReports(ops []op) (first, rest []op) {
	coming := map[string]bool{} // urns of ops that go before
	for _, o := range ops {
		if stage(o) == 0 && o.action == create {
			coming["urn:uuid:"+o.uuid] = true
		}
	}
	known := r.references(nil)
	for _, o := range ops {
		if stage(o) == 0 && (o.action == create || !names(o.local, func(urn string) bool { return !coming[urn] && known[urn] == "" })) {
			first = append(first, o)
		} else {
			rest = append(rest, o)
		}
	}
	return first, rest
}

// part leaves out of new resources what leads out of the transaction to
// something without a place. The order of ops puts what is referred to first, so
// this concerns circles only.
func (r *run) part(ops []op) ([]op, *Failure) {
	inside := map[string]bool{}
	for _, o := range ops {
		inside["urn:uuid:"+o.uuid] = true
	}
	known := r.references(nil)
	out := make([]op, len(ops))
	for i, o := range ops {
		out[i] = o
		lost := func(urn string) bool { return !inside[urn] && known[urn] == "" }
		if !names(o.local, lost) {
			continue
		}
		body, err := prunedOf(o.local.raw, lost)
		if err != nil {
			return nil, &Failure{Class: target.Permanent, Reason: OurMistake, Cause: err}
		}
		out[i].local, out[i].partial = bodyOf(body), true
	}
	return out, nil
}
