package delivery

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"

	"enbloc/mapping/graph"
	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// reconcile reads how the resources of some ops stand on the target and teaches
// the ledger: what is there as meant is adopted, what was touched in its meta
// only gets its new version noted, and what somebody else has changed, deleted
// or doubled stops the delivery. It reports whether anything was learned.
//
// It is the answer to every doubt: after a timeout, after a lost race under any
// of its names, after an answer with too few entries. Resending the same bytes
// is not: two known servers refuse a stale update and a third says 200 to it.
func (r *run) reconcile(ctx context.Context, ops []op) (learned bool, failure *Failure) {
	fresh := only(ops, func(o op) bool { return o.entry.ServerID == "" })
	found, failure := r.findSteadily(ctx, fresh)
	if failure != nil {
		return false, failure
	}
	if failure := r.settle(ctx, fresh, found); failure != nil {
		return false, failure
	}
	adopted, failure := r.adopt(fresh, found)
	if failure != nil {
		return adopted, failure
	}
	moved, failure := r.rereadAll(ctx, only(ops, func(o op) bool { return o.entry.ServerID != "" }))
	return adopted || moved, failure
}

// readings bounds how often a moving record is searched again.
const readings = 5

// findSteadily searches until two readings agree. A reading is several searches,
// and a transaction that we gave up may be committed between two of them: then
// the first half seems missing, and the links of the second half seem wrong.
func (r *run) findSteadily(ctx context.Context, ops []op) (map[string][]json.RawMessage, *Failure) {
	found, failure := r.findByKeys(ctx, ops)
	for range readings {
		if failure != nil || len(found) == 0 || len(found) == len(ops) {
			return found, failure
		}
		before := len(found)
		if found, failure = r.findByKeys(ctx, ops); len(found) == before {
			return found, failure
		}
	}
	return found, failure
}

// keysPerSearch keeps a search short enough for a GET and below the 50 hits
// where some servers end a page.
const keysPerSearch = 20

// findByKeys searches for every key and returns what is there, by role key.
func (r *run) findByKeys(ctx context.Context, ops []op) (map[string][]json.RawMessage, *Failure) {
	type group struct {
		kind string
		by   graph.SearchBy
		in   string
	}
	groups := map[group][]string{}
	var order []group
	for _, o := range ops {
		g := group{o.kind, o.searchBy, o.system}
		if groups[g] == nil {
			order = append(order, g)
		}
		groups[g] = append(groups[g], fhirserver.Token(o.system, o.key))
	}
	found := map[string][]json.RawMessage{}
	for _, g := range order {
		for tokens := groups[g]; len(tokens) > 0; {
			n := min(len(tokens), keysPerSearch)
			hits, a := r.target.Client.Search(ctx, fhirserver.Query{Type: g.kind, Plain: true, Param: string(g.by), Values: tokens[:n]})
			if hits == nil {
				f := r.unread(a)
				f.Uncertain = true // what was in doubt before still is
				return nil, f
			}
			for _, h := range hits {
				if k := keyOf(h, g.in); k != "" {
					found[k] = append(found[k], h)
				}
			}
			tokens = tokens[n:]
		}
	}
	return found, nil
}

// adopt takes what was found under our keys, once each, into the ledger.
func (r *run) adopt(ops []op, found map[string][]json.RawMessage) (bool, *Failure) {
	var stand []standing
	for _, o := range ops {
		hits := sole(found[o.key])
		if len(hits) == 0 {
			continue
		}
		m, err := fhirserver.ReadMeta(hits[0])
		if err != nil || !fhirserver.ValidID(m.ID) {
			return false, &Failure{Class: target.Retry, Reason: NoAnswer, Uncertain: true}
		}
		stand = append(stand, standing{o, m.ID, m.Version})
	}
	// All ids first, so that the links between found resources are literal.
	refs := r.references(nil)
	for _, s := range stand {
		refs["urn:uuid:"+s.op.uuid] = s.op.kind + "/" + s.id
	}
	for _, s := range stand {
		e := s.op.ledgerEntry(r.g.CaseKey, r.g.Sequence, s.id, s.version, refs)
		hit := sole(found[s.op.key])[0]
		differences, equal := same(e.Body, hit, r.target.Client.BaseURL())
		if !equal && (r.target.Rung == RungSingle || r.inParts()) {
			// The first half of a resource that is written in two.
			half := s.op
			half.partial = true
			if p := half.ledgerEntry(r.g.CaseKey, r.g.Sequence, s.id, s.version, refs); dangling(s.op.linked(refs)) {
				if d, ok := same(p.Body, hit, r.target.Client.BaseURL()); ok {
					e, differences, equal = p, d, true
				}
			}
		}
		switch {
		case !equal && s.op.fixed && r.target.Adopt && !s.op.shared:
			// Written with an earlier state, which it is about: as it should be.
			e.Body = hit
			r.learn(e, Found).Verified = true
		case equal || s.op.fixed:
			i := r.learn(e, Found)
			i.Verified = !s.op.shared
			if !s.op.shared {
				i.Differences = withRole(differences, e.Role)
			}
		case r.target.Adopt:
			// Known by place and version, not by content: the next plan updates it.
			e.Hash, e.Body = "", hit
			r.learn(e, Found)
		default:
			return true, r.conflict(OtherContent, withRole(differences, e.Role))
		}
	}
	return len(stand) > 0, nil
}

// rereadAll settles updates, many by one search: a case has more than a hundred
// resources, and where one answer in fifty is broken that many single readings
// never all succeed. What is settled stays so, even if a later reading fails.
func (r *run) rereadAll(ctx context.Context, ops []op) (learned bool, failure *Failure) {
	byKind := map[string][]op{}
	var order []string
	for _, o := range ops {
		if byKind[o.kind] == nil {
			order = append(order, o.kind)
		}
		byKind[o.kind] = append(byKind[o.kind], o)
	}
	for _, kind := range order {
		for some := range slices.Chunk(byKind[kind], keysPerSearch) {
			bodies, failure := r.readByID(ctx, kind, some)
			if failure != nil {
				return learned, failure
			}
			for _, o := range some {
				moved, failure := r.reread(ctx, o, bodies[o.entry.ServerID])
				if failure != nil {
					return learned, failure
				}
				learned = learned || moved
			}
		}
	}
	return learned, nil
}

// readByID searches for some resources of a type by the target's own ids. What
// the search does not show may be deleted or not yet found: it is absent from
// the answer, and is read by itself. So is all where ids cannot be searched.
func (r *run) readByID(ctx context.Context, kind string, ops []op) (map[string][]byte, *Failure) {
	bodies := make(map[string][]byte, len(ops))
	if len(ops) == 1 {
		return bodies, nil
	}
	ids := make([]string, len(ops))
	for i, o := range ops {
		ids[i] = o.entry.ServerID
	}
	hits, a := r.target.Client.Search(ctx, fhirserver.Query{Type: kind, Param: "_id", Plain: true, Values: ids})
	if hits == nil {
		f := r.unread(a)
		if f.Class == target.StepDown || f.Class == target.Permanent {
			return bodies, nil
		}
		f.Uncertain = true
		return nil, f
	}
	for _, h := range hits {
		if m, err := fhirserver.ReadMeta(h); err == nil && m.Version != "" {
			bodies[m.ID] = h
		}
	}
	return bodies, nil
}

// reread settles one update: has it arrived, has nothing happened, has only the
// version moved, or has somebody else been there? The body is what was read
// already, if it was.
func (r *run) reread(ctx context.Context, o op, body []byte) (bool, *Failure) {
	if body == nil {
		a := r.target.Client.Read(ctx, o.kind, o.entry.ServerID)
		if a.Status == http.StatusGone || a.Status == http.StatusNotFound {
			return false, r.conflict(DeletedByOthers, []Difference{{o.role, o.kind, Lost}})
		}
		if a.Err != nil || a.Status != http.StatusOK {
			f := r.unread(a)
			f.Uncertain = true
			return false, f
		}
		body = a.Body
	}
	m, err := fhirserver.ReadMeta(body)
	if err != nil {
		return false, &Failure{Class: target.Retry, Reason: NoAnswer, Uncertain: true}
	}
	meant := o.ledgerEntry(r.g.CaseKey, r.g.Sequence, m.ID, m.Version, r.references(nil))
	if differences, equal := same(meant.Body, body, r.target.Client.BaseURL()); equal {
		i := r.learn(meant, o.effect())
		i.Verified, i.Differences = true, withRole(differences, o.role)
		return true, nil
	}
	if m.Version == o.entry.Version {
		return false, nil
	}
	moved := o.entry
	moved.Version = m.Version
	if r.untouched(ctx, o.entry, body) {
		r.ledger[o.key] = moved
		r.unsaved = append(r.unsaved, moved)
		return true, nil
	}
	differences, _ := same(o.entry.Body, body, r.target.Client.BaseURL())
	return false, r.conflict(ChangedByOthers, withRole(differences, o.role))
}

// untouched reports whether the content is still what we left, meta aside. The
// target's own copy of our version is the better witness: it shows what the
// target made of what we sent. Where it keeps none, our copy has to do.
func (r *run) untouched(ctx context.Context, e store.LedgerEntry, now []byte) bool {
	left := e.Body
	if a := r.target.Client.ReadVersion(ctx, e.Type, e.ServerID, e.Version); a.Err == nil && a.Status == http.StatusOK {
		left = a.Body
	}
	all, err := compare("", left, now, r.target.Client.BaseURL())
	if err != nil {
		return false
	}
	for _, d := range all {
		if d.Kind != Digits && !metaOnly(d.Path, e.Type) {
			return false
		}
	}
	return true
}

func metaOnly(path, kind string) bool {
	return len(path) >= len(kind)+5 && path[:len(kind)+5] == kind+".meta"
}

func (r *run) conflict(why Reason, differences []Difference) *Failure {
	return &Failure{Class: target.Conflict, Reason: why, Conflicts: differences, Status: r.result.HTTPStatus, RequestID: r.result.RequestID}
}

func withRole(differences []Difference, role string) []Difference {
	for i := range differences {
		differences[i].Role = role
	}
	return differences
}

// keyOf reads the role key of a resource, from its identifier (one or a list)
// or from its tags, in the system of such keys.
func keyOf(resource []byte, system string) string {
	var r struct {
		Identifier json.RawMessage `json:"identifier"`
		Meta       struct {
			Tag []struct{ System, Code string } `json:"tag"`
		} `json:"meta"`
	}
	if json.Unmarshal(resource, &r) != nil {
		return ""
	}
	type identifier struct{ System, Value string }
	var many []identifier
	if len(r.Identifier) > 0 && json.Unmarshal(r.Identifier, &many) != nil {
		var one identifier
		if json.Unmarshal(r.Identifier, &one) == nil {
			many = append(many, one)
		}
	}
	for _, i := range many {
		if i.System == system {
			return i.Value
		}
	}
	for _, t := range r.Meta.Tag {
		if t.System == system {
			return t.Code
		}
	}
	return ""
}
