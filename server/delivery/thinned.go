package delivery

import (
	"context"
	"net/http"

	"enbloc/server/store"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// Entries of cases that have long been closed lose their bodies; hash, id and
// version stay, which is all that an update needs. Only what leaves its case
// needs the body once more, to be marked entered in error, and the target has it.

// fill reads the bodies of thinned entries that the graph has no more. What
// stands at another version than ours is not ours to judge: it stops the case.
func (r *run) fill(ctx context.Context) *Failure {
	if r.void == nil {
		return nil
	}
	inGraph := make(map[string]bool, len(r.g.Resources))
	for _, res := range r.g.Resources {
		inGraph[res.Key] = true
	}
	for _, e := range sortedEntries(r.ledger, func(e store.LedgerEntry) bool {
		return thinned(e) && !e.Voided && e.CaseKey != "" && !inGraph[e.RoleKey]
	}) {
		a := r.target.Client.Read(ctx, e.Type, e.ServerID)
		m, err := fhirserver.ReadMeta(a.Body)
		switch {
		case a.Status == http.StatusGone || a.Status == http.StatusNotFound:
			return r.conflict(DeletedByOthers, []Difference{{e.Role, e.Type, Lost}})
		case a.Err != nil || a.Status != http.StatusOK || err != nil:
			return r.unread(a)
		case m.Version != e.Version:
			return r.conflict(ChangedByOthers, []Difference{{e.Role, e.Type, Changed}})
		}
		if e.Body, err = withoutServerParts(a.Body); err != nil {
			return &Failure{Class: target.Retry, Reason: NoAnswer, RequestID: a.RequestID}
		}
		r.ledger[e.RoleKey] = e
	}
	return nil
}

func thinned(e store.LedgerEntry) bool { return len(e.Body) == 0 }

// withoutServerParts takes out what a server put in: id, version and time.
func withoutServerParts(body []byte) ([]byte, error) {
	tree, err := fhirserver.DecodeTree[any](body)
	if err != nil {
		return nil, err
	}
	if o, ok := tree.(map[string]any); ok {
		delete(o, "id")
		if meta, ok := o["meta"].(map[string]any); ok {
			delete(meta, "versionId")
			delete(meta, "lastUpdated")
			if len(meta) == 0 { // an object must not be empty (http://hl7.org/fhir/R4/json.html)
				delete(o, "meta")
			}
		}
	}
	return fhirserver.EncodeTree(tree)
}

// sameVersion is all that can be said about a thinned entry that is read back.
func sameVersion(e store.LedgerEntry, read []byte) []Difference {
	if m, err := fhirserver.ReadMeta(read); err == nil && m.Version == e.Version {
		return nil
	}
	return []Difference{{e.Role, e.Type + ".meta.versionId", Changed}}
}
