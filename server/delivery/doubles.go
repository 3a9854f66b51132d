package delivery

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strings"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// sole leaves out the doubles that somebody at the target has marked as entered
// in error, which is how a record is taken back where nothing may be deleted. Of
// several that are all marked nobody knows which was ours, so they stay doubles.
func sole(hits []json.RawMessage) []json.RawMessage {
	if len(hits) < 2 {
		return hits
	}
	if good := slices.DeleteFunc(slices.Clone(hits), func(h json.RawMessage) bool { return erroneous(h) }); len(good) == 1 {
		return good
	}
	return hits
}

// erroneous reports whether a resource is marked as entered in error, in the ways
// of the R4 types that a case has.
func erroneous(resource []byte) bool {
	var r struct {
		ResourceType       string
		Status             string
		Active             *bool
		VerificationStatus struct{ Coding []struct{ Code string } }
	}
	if json.Unmarshal(resource, &r) != nil {
		return false
	}
	for _, c := range r.VerificationStatus.Coding {
		if c.Code == "entered-in-error" {
			return true
		}
	}
	return r.Status == "entered-in-error" || (r.ResourceType == "BodyStructure" && r.Active != nil && !*r.Active)
}

// doubles searches for what was just created without a condition that is safe
// under races, and settles what stands twice.
func (r *run) doubles(ctx context.Context, ops []op) *Failure {
	created := only(ops, func(o op) bool { return o.entry.ServerID == "" })
	found, failure := r.findByKeys(ctx, created)
	if failure != nil {
		return failure
	}
	return r.settle(ctx, created, found)
}

// settle keeps of several copies under one of our keys the one that the reports
// of the case name, and marks the others as entered in error; found keeps what
// is left. It deletes nothing and guesses nothing: where the reports name none
// of the copies or several, where a report itself is doubled, or where a copy
// says something else, the case stops for a human.
func (r *run) settle(ctx context.Context, ops []op, found map[string][]json.RawMessage) *Failure {
	twice := only(ops, func(o op) bool { return len(sole(found[o.key])) > 1 })
	if len(twice) == 0 {
		return nil
	}
	var doubled []Difference
	for _, o := range twice {
		doubled = append(doubled, Difference{o.role, o.kind, Added})
	}
	stop := r.conflict(Doubled, doubled)
	named, failure := r.namedByReports(ctx, found)
	if failure != nil || named == nil {
		return cmp.Or(failure, stop)
	}
	// All is decided before anything is written.
	var marks []marking
	for _, o := range twice {
		kept, others := r.choose(o, found[o.key], named)
		if kept == nil {
			return stop
		}
		for _, h := range others {
			m, ok := r.markFor(o, h, kept)
			if !ok {
				return stop
			}
			marks = append(marks, m)
		}
		found[o.key] = []json.RawMessage{kept}
	}
	for _, m := range marks {
		if failure := r.markCopy(ctx, m); failure != nil {
			return failure
		}
	}
	return nil
}

// namedByReports are the places of what the reports of the case on the target
// name, and of what that names in turn; nil when no report stands, or one of
// them is doubled.
func (r *run) namedByReports(ctx context.Context, found map[string][]json.RawMessage) (map[string]bool, *Failure) {
	named := map[string]bool{}
	reports := 0
	for _, res := range r.g.Resources {
		if res.Type != "DiagnosticReport" {
			continue
		}
		var body json.RawMessage
		switch hits := sole(found[res.Key]); {
		case len(hits) > 1:
			return nil, nil
		case len(hits) == 1:
			body = hits[0]
		case r.ledger[res.Key].ServerID != "":
			a := r.target.Client.Read(ctx, res.Type, r.ledger[res.Key].ServerID)
			if a.Err != nil || a.Status != http.StatusOK {
				f := r.unread(a)
				f.Uncertain = true
				return nil, f
			}
			body = a.Body
		default:
			continue
		}
		reports++
		r.addNames(named, body)
	}
	if reports == 0 {
		return nil, nil
	}
	for before := -1; before != len(named); {
		before = len(named)
		for _, hits := range found {
			for _, h := range hits {
				if named[placeOf(h)] {
					r.addNames(named, h)
				}
			}
		}
	}
	return named, nil
}

// addNames adds the places that a resource on the target refers to.
func (r *run) addNames(named map[string]bool, body []byte) {
	tree, err := fhirserver.DecodeTree[any](body)
	if err != nil {
		return
	}
	c := comparer{base: r.target.Client.BaseURL()}
	fhirserver.EachObject(tree, func(o map[string]any) {
		if to, ok := o["reference"].(string); ok {
			named[c.plainReference(to)] = true
		}
	})
}

// placeOf is Type/id of a resource on the target.
func placeOf(resource []byte) string {
	m, err := fhirserver.ReadMeta(resource)
	if err != nil || !fhirserver.ValidID(m.ID) {
		return ""
	}
	return m.Type + "/" + m.ID
}

// choose parts the copies into the one that is named and those that are not;
// kept is nil when not exactly one is. Copies that are marked already are left.
func (r *run) choose(o op, hits []json.RawMessage, named map[string]bool) (kept json.RawMessage, others []json.RawMessage) {
	for _, h := range hits {
		switch {
		case erroneous(h):
		case !named[placeOf(h)]:
			others = append(others, h)
		case kept != nil:
			return nil, nil
		default:
			kept = h
		}
	}
	if id := r.ledger[o.key].ServerID; kept != nil && id != "" && placeOf(kept) != o.kind+"/"+id {
		return nil, nil // the reports name another than the one we know as ours
	}
	return kept, others
}

// marking is a copy that is to be marked as entered in error.
type marking struct {
	op          op
	id, version string
	body        []byte
}

// markFor makes the marked form of a copy; ok is false when it says something
// else than the one that is kept, or when its type cannot be marked.
func (r *run) markFor(o op, copied, kept json.RawMessage) (m marking, ok bool) {
	differences, err := compare(o.role, kept, copied, r.target.Client.BaseURL())
	if err != nil {
		return marking{}, false
	}
	for _, d := range differences {
		if d.Kind != Digits && !strings.HasSuffix(d.Path, ".reference") { // copies name each other
			return marking{}, false
		}
	}
	meta, err := fhirserver.ReadMeta(copied)
	if err != nil || !fhirserver.ValidID(meta.ID) {
		return marking{}, false
	}
	body, err := inError(r.void, o.kind, copied)
	return marking{o, meta.ID, meta.Version, body}, err == nil && len(body) > 0
}

// markCopy marks one copy. A copy that has moved meanwhile is looked at again.
func (r *run) markCopy(ctx context.Context, m marking) *Failure {
	a := r.target.Client.Update(ctx, m.op.kind, m.id, withID(m.body, m.id), m.version)
	r.result.HTTPStatus, r.result.RequestID = a.Status, a.RequestID
	reaction := a.Reaction(r.now())
	if reaction.Class != target.Done {
		f := r.failure(a, reaction)
		f.Uncertain, f.Writing = true, true
		if reaction.Class == target.Conflict {
			f.Class, f.Reason = target.Retry, LostRace
		}
		return f
	}
	r.result.Doubles = append(r.result.Doubles, Item{Role: m.op.role, Key: m.op.key, Type: m.op.kind, Effect: Voided,
		ServerID: m.id, Version: fhirserver.ReadSingle(a).Version})
	return nil
}
