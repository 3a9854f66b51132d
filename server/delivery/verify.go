package delivery

import (
	"context"
	"net/http"
	"slices"

	"enbloc/server/store"
	"enbloc/server/target"
)

const (
	// fewEnough is how many resources are all read back.
	fewEnough = 8
	// sampled is how many are read beside the reports when there are more.
	sampled = 1
)

// verify reads back what was written and compares. Three of four servers take
// what they do not keep, so an answer of success proves little.
func (r *run) verify(ctx context.Context) error {
	for _, e := range r.sample() {
		a := r.target.Client.Read(ctx, e.Type, e.ServerID)
		if a.Status == http.StatusGone || a.Status == http.StatusNotFound {
			r.differ(e, []Difference{{e.Role, e.Type, Lost}})
			continue
		}
		if a.Err != nil || a.Status != http.StatusOK {
			f := r.failure(a, a.Reaction(r.now()))
			f.Class, f.Reason, f.Uncertain = target.Retry, NotReadBack, true
			return f
		}
		if thinned(e) {
			r.differ(e, sameVersion(e, a.Body))
			continue
		}
		differences, version, err := compareRead(e.Role, e.Body, a.Body, r.target.Client.BaseURL())
		if err != nil {
			return &Failure{Class: target.Retry, Reason: NotReadBack, Uncertain: true, RequestID: a.RequestID, Cause: err}
		}
		r.differ(e, differences)
		// Some servers count a version of their own on top of ours, some tell none.
		if version != "" && version != e.Version && len(differences) == 0 {
			e.Version = version
			r.ledger[e.RoleKey] = e
			r.unsaved = append(r.unsaved, e)
		}
	}
	return nil
}

func (r *run) differ(e store.LedgerEntry, differences []Difference) {
	i, ok := r.items[e.RoleKey]
	if !ok {
		i = &Item{Role: e.Role, Key: e.RoleKey, Type: e.Type, Effect: Unchanged, ServerID: e.ServerID, Version: e.Version}
		r.items[e.RoleKey] = i
	}
	i.Verified, i.Differences = true, differences
}

// sample chooses what to read: what was written and not read already, and after
// a doubt everything that should stand. Reports always; of the rest one, another
// in every state of the case.
func (r *run) sample() []store.LedgerEntry {
	var reports, rest []store.LedgerEntry
	unread := func(e store.LedgerEntry) bool {
		item, written := r.items[e.RoleKey]
		return written && !item.Verified || !written && r.inDoubt()
	}
	for _, e := range sortedEntries(r.ledger, unread) {
		item, written := r.items[e.RoleKey]
		switch {
		case e.CaseKey == "" && written && item.Effect == Found: // shared: others write it too
		case e.Type == "DiagnosticReport":
			reports = append(reports, e)
		default:
			rest = append(rest, e)
		}
	}
	if r.target.Verify == VerifyAll || len(reports)+len(rest) <= fewEnough || len(rest) == 0 {
		return append(reports, rest...)
	}
	// The keys are as good as random, so a rotated cut of their order samples.
	start := r.g.Sequence * sampled % len(rest)
	rest = append(slices.Clone(rest[start:]), rest[:start]...)
	return append(reports, rest[:min(sampled, len(rest))]...)
}

// inDoubt is true when nothing had to be sent after an attempt that may have
// been cut off between writing and reading back.
func (r *run) inDoubt() bool { return r.doubt && len(r.items) == 0 }
