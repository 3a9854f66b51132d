package demo

import (
	"context"
	"sort"

	"enbloc/mapping/graph"
)

// written are the types that the service writes, beside what the hospital owns.
var written = []string{
	"AdverseEvent", "BodyStructure", "Condition", "Device", "DiagnosticReport", "DocumentReference", "Media",
	"MedicationAdministration", "Observation", "Procedure", "Provenance", "ServiceRequest", "Specimen",
}

// count looks at the receiver's journal since before, and at the resources that
// carry the case's key as a tag.
func (w *world) count(s *step, before int) {
	touched := map[string]bool{}
	for _, line := range w.receiver.Journal()[before:] {
		touched[line.Type+"/"+line.ID] = true
		if line.Version == 1 {
			s.created++
		} else {
			s.updated++
		}
	}
	for _, kind := range written {
		for _, tree := range w.receiver.Resources(kind) {
			id, _ := tree["id"].(string)
			if tagged(tree, s.receipt.Case) && !touched[kind+"/"+id] {
				s.unchanged++
			}
		}
	}
}

// tagged reports whether a resource belongs to the case.
func tagged(tree map[string]any, caseKey string) bool {
	meta, _ := tree["meta"].(map[string]any)
	tags, _ := meta["tag"].([]any)
	for _, t := range tags {
		tag, _ := t.(map[string]any)
		if tag["system"] == graph.CaseKeySystem && tag["code"] == caseKey {
			return true
		}
	}
	return false
}

// totals is how many resources of each type stand at the receiver.
func (w *world) totals() map[string]int {
	all := map[string]int{}
	for _, kind := range written {
		if n := len(w.receiver.Resources(kind)); n > 0 {
			all[kind] = n
		}
	}
	return all
}

// replayed is what came of sending everything once more.
type replayed struct {
	documents, same, writes int
	before, after           map[string]int
}

// unchanged reports whether the second sending changed nothing.
func (r replayed) unchanged() bool {
	if r.same != r.documents || r.writes != 0 || len(r.before) != len(r.after) {
		return false
	}
	for kind, n := range r.before {
		if r.after[kind] != n {
			return false
		}
	}
	return true
}

// replay sends every document again, in the same order.
func (w *world) replay(ctx context.Context, all []played) (replayed, error) {
	r := replayed{before: w.totals()}
	journal := len(w.receiver.Journal())
	for _, p := range all {
		for _, first := range p.steps {
			s, err := w.send(ctx, first.document)
			if err != nil {
				return r, err
			}
			r.documents++
			if s.status == first.status && s.receipt.Case == first.receipt.Case && s.receipt.Sequence == first.receipt.Sequence {
				r.same++
			}
		}
	}
	r.writes = len(w.receiver.Journal()) - journal
	r.after = w.totals()
	return r, nil
}

// kindsOf lists the types of both counts in order.
func (r replayed) kindsOf() []string {
	var kinds []string
	for kind := range r.before {
		kinds = append(kinds, kind)
	}
	for kind := range r.after {
		if _, ok := r.before[kind]; !ok {
			kinds = append(kinds, kind)
		}
	}
	sort.Strings(kinds)
	return kinds
}
