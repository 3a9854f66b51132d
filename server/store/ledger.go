package store

import (
	"context"
	"errors"
	"maps"
	"slices"
	"time"
)

// LedgerEntry is one resource that stands on a target because we put it there,
// as we last left it.
type LedgerEntry struct {
	// RoleKey identifies the resource; Role says which part of the case it is.
	RoleKey, Role string
	// CaseKey is empty for what serves many cases.
	CaseKey string
	Type    string
	// ServerID and Version are the target's; Version is opaque, without the
	// quotes of an entity tag.
	ServerID, Version string
	// Hash is that of the resource before any reference was resolved; equal
	// hashes need no sending.
	Hash string
	// Body is the resource as it should stand on the target.
	Body []byte
	// Sequence is the state of the case that wrote it last.
	Sequence int
	// Voided resources have been marked entered in error.
	Voided  bool
	Written time.Time
}

// Ledger returns what stands on a target for a case and, under the shared role
// keys, what serves many cases; each by role key. Delivered is the highest state
// of the case that stands complete there, 0 when there is none.
func (r reads) Ledger(ctx context.Context, target, caseKey string, shared ...string) (entries []LedgerEntry, delivered int, err error) {
	query := `SELECT '', '', '', '', '', '', (SELECT entries FROM ledger_pages WHERE case_key = ? AND target = ?),
		coalesce((SELECT sequence FROM delivered WHERE target = ? AND case_key = ?), 0), 0, 0`
	args := []any{caseKey, target, target, caseKey}
	if len(shared) > 0 {
		query += ` UNION ALL SELECT ` + sharedColumns + ` FROM shared_ledger WHERE target = ? AND role_key IN (` + marks(len(shared)) + `)`
		args = append(args, target)
		for _, k := range shared {
			args = append(args, k)
		}
	}
	rows, err := list(ctx, r, scanShared, query, args...)
	for _, e := range rows {
		if e.RoleKey != "" {
			entries = append(entries, e)
			continue
		}
		delivered = e.Sequence
		if e.Body != nil {
			own, damaged := unpackPage(caseKey, e.Body)
			entries, err = append(own, entries...), errors.Join(err, damaged)
		}
	}
	return entries, delivered, translate("reading ledger", err)
}

// PutLedger stores entries, each in place of an older one with its role key. Of
// several with one role key the last counts.
func (t *Tx) PutLedger(ctx context.Context, target string, entries []LedgerEntry) error {
	return t.putLedger(ctx, target, entries, func(caseKey string, more []LedgerEntry) error {
		return t.changePage(ctx, target, caseKey, func(page []LedgerEntry) []LedgerEntry { return append(page, more...) })
	})
}

// OpenLedger is PutLedger where nothing of a case should be known to stand on the
// target: it does not look. Where something is, that is a fault of kind Conflict.
func (t *Tx) OpenLedger(ctx context.Context, target string, entries []LedgerEntry) error {
	return t.putLedger(ctx, target, entries, func(caseKey string, all []LedgerEntry) error {
		return t.write(ctx, "writing ledger", `INSERT INTO ledger_pages (case_key, target, entries) VALUES (?, ?, ?)`,
			caseKey, target, packPage(inOrder(all)))
	})
}

func (t *Tx) putLedger(ctx context.Context, target string, entries []LedgerEntry, put func(caseKey string, entries []LedgerEntry) error) error {
	byCase := map[string][]LedgerEntry{}
	for _, e := range entries {
		byCase[e.CaseKey] = append(byCase[e.CaseKey], e)
	}
	// In one order for everybody: on Postgres each case is locked.
	for _, caseKey := range slices.Sorted(maps.Keys(byCase)) {
		var err error
		if caseKey == "" {
			err = t.putShared(ctx, target, byCase[""])
		} else {
			err = put(caseKey, byCase[caseKey])
		}
		if err != nil {
			return translate("writing ledger", err)
		}
	}
	return nil
}

// inOrder sorts entries by role key and drops those that a later one replaces.
func inOrder(entries []LedgerEntry) []LedgerEntry {
	last := make(map[string]int, len(entries))
	for i, e := range entries {
		last[e.RoleKey] = i
	}
	kept := make([]LedgerEntry, 0, len(last))
	for _, key := range slices.Sorted(maps.Keys(last)) {
		kept = append(kept, entries[last[key]])
	}
	return kept
}

// SetDelivered notes that a state of a case stands complete on a target. A
// lower state than the noted one changes nothing.
func (t *Tx) SetDelivered(ctx context.Context, target, caseKey string, sequence int, now time.Time) error {
	return t.write(ctx, "noting delivered state", `INSERT INTO delivered (target, case_key, sequence, written_at) VALUES (?, ?, ?, ?)
		ON CONFLICT (target, case_key) DO UPDATE SET sequence = excluded.sequence, written_at = excluded.written_at
		WHERE delivered.sequence < excluded.sequence`, target, caseKey, sequence, micros(now))
}
