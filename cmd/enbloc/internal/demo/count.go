package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"

	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/testdata/cases"
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
	documents, same, older, writes int
	before, after                  map[string]int
}

// unchanged reports whether the second sending changed nothing.
func (r replayed) unchanged() bool {
	return r.same+r.older == r.documents && r.writes == 0 && maps.Equal(r.before, r.after)
}

// replay sends every document again, in the same order. What still counts is
// answered with the case it counts in; a revision that a newer one has replaced
// is refused as older.
func (w *world) replay(ctx context.Context, all []played) (replayed, error) {
	r := replayed{before: w.totals()}
	journal := len(w.receiver.Journal())
	for _, p := range all {
		for i, first := range p.steps {
			s, err := w.send(ctx, first.document)
			if err != nil {
				return r, err
			}
			r.documents++
			switch {
			case s.status == first.status && s.receipt.Case == first.receipt.Case:
				r.same++
			case s.status == http.StatusConflict && p.replaced(i):
				r.older++
			}
		}
	}
	r.writes = len(w.receiver.Journal()) - journal
	r.after = w.totals()
	return r, nil
}

// replaced reports whether a later document of the case is a newer revision of
// the i-th.
func (c played) replaced(i int) bool {
	for _, later := range c.steps[i+1:] {
		if identity(later.document) == identity(c.steps[i].document) {
			return true
		}
	}
	return false
}

// identity is what stays the same over the revisions of a document.
func identity(d cases.Document) string {
	var envelope struct {
		ReportID report.Identifier `json:"report_id"`
		PartID   report.Identifier `json:"part_id"`
	}
	// The document was accepted before, so it can be read.
	_ = json.Unmarshal(d.JSON, &envelope)
	return fmt.Sprint(d.Kind, envelope.ReportID, envelope.PartID)
}

// types lists the types of both counts in order.
func (r replayed) types() []string {
	all := maps.Clone(r.before)
	maps.Copy(all, r.after)
	return slices.Sorted(maps.Keys(all))
}
