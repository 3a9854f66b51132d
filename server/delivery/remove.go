package delivery

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"time"

	"enbloc/mapping/graph"
	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// Removal says how a case was taken back from a target.
type Removal struct {
	// Deleted resources are gone. Voided ones the target would not delete: they
	// are marked as entered in error. Left ones cannot be marked either
	// (Provenance): they say who wrote what when.
	Deleted int `json:"deleted"`
	Voided  int `json:"voided"`
	Left    int `json:"left"`
}

// sentence says it to people.
func (r Removal) sentence() string {
	if r == (Removal{}) {
		return "Nothing of it stood on the target."
	}
	text := fmt.Sprintf("%d resource(s) were deleted on the target.", r.Deleted)
	if r.Voided > 0 {
		text += fmt.Sprintf(" It refuses to delete %d, which are marked as entered in error.", r.Voided)
	}
	if r.Left > 0 {
		text += fmt.Sprintf(" %d could be neither deleted nor marked.", r.Left)
	}
	return text
}

// Remove takes everything of a case back from the target, as for a withdrawal;
// [Removal] of the Result says how. Its items are what was deleted or marked as
// entered in error. The error is as that of Deliver.
func (e *Engine) Remove(ctx context.Context, g graph.Graph) (Result, error) {
	result, failure := e.remove(ctx, g)
	return result, asError(failure)
}

// remove takes everything of a case back from the target: what the ledger shows,
// and what the target finds by the tag of the case, as an attempt whose answer
// was lost may have left something. It deletes; what the target refuses to
// delete it marks as entered in error. To repeat it changes nothing.
func (e *Engine) remove(ctx context.Context, g graph.Graph) (Result, *Failure) {
	r := &run{Engine: e, target: e.present(), g: g, void: e.void, items: map[string]*Item{}}
	r.result = Result{CaseKey: g.CaseKey, Sequence: g.Sequence, Removal: &Removal{}}
	if _, err := r.load(ctx); err != nil {
		return r.result, asFailure(err)
	}
	stand, failure := r.standing(ctx)
	if failure != nil || len(stand) == 0 {
		return r.result, failure
	}
	rest, failure := r.deleteAtOnce(ctx, stand)
	if failure == nil {
		rest, failure = r.deleteSingly(ctx, rest)
	}
	if failure == nil {
		failure = r.mark(ctx, rest)
	}
	if err := r.save(ctx, 0); err != nil && failure == nil {
		failure = asFailure(err)
	}
	if failure == nil && r.result.Removal.Left > 0 && r.result.Removal.Deleted+r.result.Removal.Voided == 0 {
		r.result.HTTPStatus = 0 // told already, in an earlier attempt
	}
	return r.result, failure
}

// standing lists what is on the target, each once.
func (r *run) standing(ctx context.Context) ([]store.LedgerEntry, *Failure) {
	kinds := map[string]bool{}
	byPlace := map[string]store.LedgerEntry{}
	for _, e := range r.ledger {
		if e.CaseKey == "" {
			continue // other cases need it
		}
		kinds[e.Type] = true
		byPlace[e.Type+"/"+e.ServerID] = e
	}
	roles := map[string]graph.Resource{}
	for _, res := range r.g.Resources {
		if !res.Shared {
			kinds[res.Type], roles[res.Key] = true, res
		}
	}
	names := r.g.Named()
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		hits, a := r.target.Client.Search(ctx, fhirserver.Query{Type: kind, Plain: true, Param: string(graph.ByTag),
			Values: []string{fhirserver.Token(names.CaseKeySystem, names.CaseKey)}})
		if hits == nil {
			if class := a.Reaction(r.now()).Class; class == target.StepDown || class == target.Permanent {
				continue // it cannot search by tag: what the ledger knows has to do
			}
			return nil, r.unread(a)
		}
		for _, hit := range hits {
			m, err := fhirserver.ReadMeta(hit)
			if err != nil || !fhirserver.ValidID(m.ID) {
				continue
			}
			place := kind + "/" + m.ID
			if _, known := byPlace[place]; known {
				continue
			}
			key := keyOf(hit, names.RoleKeySystem)
			byPlace[place] = store.LedgerEntry{RoleKey: key, Role: roles[key].Role, CaseKey: r.g.CaseKey, Type: kind, ServerID: m.ID, Version: m.Version, Sequence: r.g.Sequence}
		}
	}
	all := slices.Collect(maps.Values(byPlace))
	slices.SortFunc(all, func(a, b store.LedgerEntry) int {
		if c := removalRank(a.Type) - removalRank(b.Type); c != 0 {
			return c
		}
		return bytes.Compare([]byte(a.RoleKey+a.ServerID), []byte(b.RoleKey+b.ServerID))
	})
	return all, nil
}

// removalOrder begins with what nothing refers to.
var removalOrder = []string{"Provenance", "DiagnosticReport", "ServiceRequest", "AdverseEvent", "Media", "Observation", "MedicationAdministration",
	"Procedure", "Specimen", "Condition", "BodyStructure"}

func removalRank(kind string) int {
	if i := slices.Index(removalOrder, kind); i >= 0 {
		return i
	}
	return len(removalOrder)
}

// deleteAtOnce deletes in one transaction, which alone can delete what refers to
// each other on a server that keeps references whole. It returns what is left.
func (r *run) deleteAtOnce(ctx context.Context, stand []store.LedgerEntry) ([]store.LedgerEntry, *Failure) {
	if r.target.Rung >= RungSingle || (r.target.MaxEntries > 0 && len(stand) > r.target.MaxEntries) {
		return stand, nil
	}
	var b bytes.Buffer
	b.WriteString(`{"resourceType":"Bundle","type":"transaction","entry":[`)
	for i, e := range stand {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(`{"request":{"method":"DELETE","url":"` + e.Type + `/` + e.ServerID + `"}}`)
	}
	b.WriteString(`]}`)
	a := r.target.Client.Transaction(ctx, b.Bytes())
	reaction := a.Reaction(r.now())
	switch reaction.Class {
	case target.Done:
		r.result.HTTPStatus, r.result.RequestID = a.Status, a.RequestID
		return r.gone(ctx, stand)
	case target.Retry, target.Unknown, target.Auth:
		f := r.failure(a, reaction)
		f.Uncertain = true
		return stand, f
	}
	return stand, nil // refused: one by one shows which
}

// gone asks the target what of the deleted is really gone, and forgets that. A
// success around a transaction says little of its entries on some servers.
func (r *run) gone(ctx context.Context, stand []store.LedgerEntry) (rest []store.LedgerEntry, failure *Failure) {
	var deleted []store.LedgerEntry
	for _, e := range stand {
		switch a := r.target.Client.Read(ctx, e.Type, e.ServerID); {
		case a.Err == nil && (a.Status == http.StatusGone || a.Status == http.StatusNotFound):
			deleted = append(deleted, e)
		case a.Err == nil && a.Status == http.StatusOK:
			rest = append(rest, e)
		default:
			f := r.unread(a)
			f.Uncertain = true
			return rest, f
		}
	}
	return rest, r.forget(ctx, deleted)
}

// rounds bounds how often what was refused is tried again after others are gone.
const rounds = 6

// deleteSingly deletes one by one, in rounds, as one resource may hold another.
func (r *run) deleteSingly(ctx context.Context, stand []store.LedgerEntry) ([]store.LedgerEntry, *Failure) {
	untied := false
	for range rounds {
		var rest, deleted []store.LedgerEntry
		held := false
		for _, e := range stand {
			a := r.target.Client.Delete(ctx, e.Type, e.ServerID)
			reaction := a.Reaction(r.now())
			switch {
			case reaction.Class == target.Done || a.Err == nil && (a.Status == http.StatusGone || a.Status == http.StatusNotFound):
				r.result.HTTPStatus, r.result.RequestID = a.Status, a.RequestID
				deleted = append(deleted, e)
			case reaction.Class == target.Retry || reaction.Class == target.Unknown || a.Status == http.StatusUnauthorized:
				f := r.failure(a, reaction)
				f.Uncertain = true
				if failure := r.forget(ctx, deleted); failure != nil {
					return stand, failure
				}
				return stand, f
			default:
				held = held || a.Status == http.StatusConflict
				rest = append(rest, e)
			}
		}
		if failure := r.forget(ctx, deleted); failure != nil {
			return rest, failure
		}
		switch {
		case len(rest) == 0:
			return nil, nil
		case len(deleted) > 0:
		case !held || untied:
			return rest, nil
		default:
			untied = true
			if some, failure := r.untie(ctx, rest); failure != nil || !some {
				return rest, failure
			}
		}
		stand = rest
	}
	return stand, nil
}

// untie takes what Procedures and Conditions refer to in the case out of them: every
// circle that a case has goes through one of the two, and a server that keeps
// references whole deletes no part of a circle by itself. It tells whether there
// was anything to take out.
func (r *run) untie(ctx context.Context, rest []store.LedgerEntry) (some bool, failure *Failure) {
	places := map[string]bool{}
	for _, e := range rest {
		places[e.Type+"/"+e.ServerID] = true
	}
	for _, e := range rest {
		if e.Type != "Procedure" && e.Type != "Condition" {
			continue
		}
		a := r.target.Client.Read(ctx, e.Type, e.ServerID)
		m, err := fhirserver.ReadMeta(a.Body)
		if a.Err != nil || a.Status != http.StatusOK || err != nil {
			return some, r.unread(a)
		}
		body, cut, err := r.cut(a.Body, places)
		if err != nil {
			return some, &Failure{Class: target.Retry, Reason: NoAnswer, RequestID: a.RequestID}
		}
		if !cut {
			continue
		}
		a = r.target.Client.Update(ctx, e.Type, e.ServerID, withID(body, e.ServerID), m.Version)
		switch reaction := a.Reaction(r.now()); reaction.Class {
		case target.Done:
			some = true
		case target.Conflict:
			return some, &Failure{Class: target.Retry, Reason: LostRace, Status: a.Status, RequestID: a.RequestID}
		case target.Permanent, target.StepDown, target.Park:
			continue // it stays as it is, and is marked
		default:
			return some, r.failure(a, reaction)
		}
		// Should the case be sent again before it is gone, this is written as it was.
		e.Hash, e.Body, e.Version = "", body, fhirserver.ReadSingle(a).Version
		if e.RoleKey != "" {
			r.learn(e, Updated)
		}
	}
	// At once: what is deleted next must not be written down as standing later.
	if err := r.save(ctx, 0); err != nil {
		return some, asFailure(err)
	}
	return some, nil
}

// cut takes the references to some places out of a resource as the target has it.
func (r *run) cut(standing []byte, places map[string]bool) (body []byte, cut bool, err error) {
	if body, err = withoutServerParts(standing); err != nil {
		return nil, false, err
	}
	tree, err := fhirserver.DecodeTree[any](body)
	if err != nil {
		return nil, false, err
	}
	c := comparer{base: r.target.Client.BaseURL()}
	kept, _ := prune(tree, func(reference string) bool {
		lost := places[c.plainReference(reference)]
		cut = cut || lost
		return lost
	})
	body, err = fhirserver.EncodeTree(kept)
	return body, cut, err
}

// mark marks what could not be deleted as entered in error.
func (r *run) mark(ctx context.Context, rest []store.LedgerEntry) *Failure {
	void := r.target.Withdraw
	if void == nil {
		void = r.void
	}
	for _, e := range rest {
		if e.Voided && e.Hash == "" {
			r.result.Removal.Voided++ // by an earlier attempt
			continue
		}
		a := r.target.Client.Read(ctx, e.Type, e.ServerID)
		m, err := fhirserver.ReadMeta(a.Body)
		if a.Err != nil || a.Status != http.StatusOK || err != nil {
			return r.unread(a)
		}
		body, err := inError(void, e.Type, a.Body)
		if err != nil {
			return &Failure{Class: target.Permanent, Reason: NotRemoved, Cause: err}
		}
		if len(body) == 0 {
			r.result.Removal.Left++
			continue
		}
		a = r.target.Client.Update(ctx, e.Type, e.ServerID, withID(body, e.ServerID), m.Version)
		reaction := a.Reaction(r.now())
		r.result.HTTPStatus, r.result.RequestID = a.Status, a.RequestID
		switch reaction.Class {
		case target.Done:
		case target.Conflict:
			return &Failure{Class: target.Retry, Reason: LostRace, Status: a.Status, RequestID: a.RequestID}
		case target.Permanent, target.StepDown, target.Park:
			return &Failure{Class: target.Permanent, Reason: NotRemoved, Status: a.Status, RequestID: a.RequestID}
		default:
			return r.failure(a, reaction)
		}
		// No hash is equal to the empty one: should the case be sent again, this
		// is written as it was.
		e.Hash, e.Body, e.Voided, e.Version = "", body, true, fhirserver.ReadSingle(a).Version
		if e.RoleKey != "" {
			r.result.Items = append(r.result.Items, *r.learn(e, Voided))
		}
		r.result.Removal.Voided++
	}
	return nil
}

// inError is the form of a resource that stands on the target, marked as entered
// in error; nil where there is no way to mark it.
func inError(void Voider, kind string, standing []byte) ([]byte, error) {
	body, err := withoutServerParts(standing)
	if err != nil || void == nil {
		return nil, err
	}
	return void(kind, body)
}

// forget takes what was deleted out of the ledger at once, so that whatever ends
// the run, the next one goes on where it stopped.
func (r *run) forget(ctx context.Context, deleted []store.LedgerEntry) *Failure {
	r.result.Removal.Deleted += len(deleted)
	if len(deleted) == 0 {
		return nil
	}
	var keys []string
	for _, e := range deleted {
		if e.RoleKey != "" {
			keys = append(keys, e.RoleKey)
			delete(r.ledger, e.RoleKey)
			r.items[e.RoleKey] = &Item{Role: e.Role, Key: e.RoleKey, Type: e.Type, Effect: Deleted, ServerID: e.ServerID, Version: e.Version, Verified: true}
			r.result.Items = append(r.result.Items, *r.items[e.RoleKey])
		}
	}
	ledger, ok := r.Engine.ledger.(forgetful)
	if !ok {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 15*time.Second)
	defer cancel()
	if err := ledger.Forget(ctx, r.target.Name, r.g.CaseKey, keys); err != nil {
		return asFailure(fmt.Errorf("recording what was deleted on the target: %w", err))
	}
	return nil
}

// forgetful is a ledger that can forget what was deleted.
type forgetful interface {
	Forget(ctx context.Context, target, caseKey string, roleKeys []string) error
}

// Forget forgets in the store.
func (l storeLedger) Forget(ctx context.Context, target, caseKey string, roleKeys []string) error {
	return l.store.InTx(ctx, func(tx *store.Tx) error { return tx.Forget(ctx, target, caseKey, roleKeys) })
}

// Forget forgets in memory.
func (l *memoryLedger) Forget(_ context.Context, target, caseKey string, roleKeys []string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, k := range roleKeys {
		delete(l.entries, [2]string{target, k})
	}
	delete(l.delivered, [2]string{target, caseKey})
	return nil
}

var _ = []forgetful{storeLedger{}, (*memoryLedger)(nil)}
