package store

import (
	"context"
	"math/bits"
	"strings"
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

const ledgerColumns = `role_key, role, case_key, type, server_id, version, hash, body, sequence, voided, written_at`

func scanLedger(row scanner) (LedgerEntry, error) {
	var e LedgerEntry
	var voided, written int64
	err := row.Scan(&e.RoleKey, &e.Role, &e.CaseKey, &e.Type, &e.ServerID, &e.Version, &e.Hash, &e.Body, &e.Sequence, &voided, &written)
	e.Voided, e.Written = voided != 0, fromMicros(written)
	return e, err
}

// Ledger returns what stands on a target for a case.
func (r reads) Ledger(ctx context.Context, target, caseKey string) ([]LedgerEntry, error) {
	all, err := list(ctx, r, scanLedger, `SELECT `+ledgerColumns+` FROM ledger WHERE case_key = ? AND target = ? ORDER BY role_key`, caseKey, target)
	return all, translate("reading ledger", err)
}

// SharedLedger returns what stands on a target, under these role keys, that
// serves many cases.
func (r reads) SharedLedger(ctx context.Context, target string, roleKeys []string) ([]LedgerEntry, error) {
	if len(roleKeys) == 0 {
		return nil, nil
	}
	args := []any{target}
	for _, k := range roleKeys {
		args = append(args, k)
	}
	all, err := list(ctx, r, scanLedger, `SELECT `+ledgerColumns+` FROM ledger WHERE case_key = '' AND target = ? AND role_key IN (`+marks(len(roleKeys))+`)`, args...)
	return all, translate("reading ledger", err)
}

// DeliveredSequence is the highest state of a case that stands complete on a
// target; 0 when there is none.
func (r reads) DeliveredSequence(ctx context.Context, target, caseKey string) (int, error) {
	var n int
	err := r.row(ctx, `SELECT coalesce(max(sequence), 0) FROM delivered WHERE target = ? AND case_key = ?`, target, caseKey).Scan(&n)
	return n, translate("reading delivered state", err)
}

// ledgerRows is how many entries go into one statement at most. Fewer go by
// powers of two, so that few texts serve all lengths and stay prepared.
const ledgerRows = 32

// PutLedger stores entries, each in place of an older one with its role key. Of
// several with one role key the last counts.
func (t *Tx) PutLedger(ctx context.Context, target string, entries []LedgerEntry) error {
	entries = lastOfEach(entries)
	for len(entries) > 0 {
		n := min(ledgerRows, 1<<(bits.Len(uint(len(entries)))-1))
		chunk := entries[:n]
		entries = entries[n:]
		args := make([]any, 0, 12*len(chunk))
		for _, e := range chunk {
			args = append(args, target, e.RoleKey, e.Role, e.CaseKey, e.Type, e.ServerID, e.Version, e.Hash, e.Body, e.Sequence, flag(e.Voided), micros(e.Written))
		}
		row := `(` + marks(12) + `)`
		_, err := t.execPrepared(ctx, `INSERT INTO ledger (target, `+ledgerColumns+`) VALUES `+row+strings.Repeat(`, `+row, len(chunk)-1)+`
			ON CONFLICT (case_key, target, role_key) DO UPDATE SET role = excluded.role, type = excluded.type,
			server_id = excluded.server_id, version = excluded.version, hash = excluded.hash, body = excluded.body,
			sequence = excluded.sequence, voided = excluded.voided, written_at = excluded.written_at`, args...)
		if err != nil {
			return translate("writing ledger", err)
		}
	}
	return nil
}

// lastOfEach drops entries that a later one replaces: a statement must not meet
// the same row twice.
func lastOfEach(entries []LedgerEntry) []LedgerEntry {
	at := make(map[string]int, len(entries))
	var kept []LedgerEntry
	for _, e := range entries {
		if i, ok := at[e.RoleKey]; ok {
			kept[i] = e
			continue
		}
		at[e.RoleKey] = len(kept)
		kept = append(kept, e)
	}
	return kept
}

// SetDelivered notes that a state of a case stands complete on a target. A
// lower state than the noted one changes nothing.
func (t *Tx) SetDelivered(ctx context.Context, target, caseKey string, sequence int, now time.Time) error {
	_, err := t.exec(ctx, `INSERT INTO delivered (target, case_key, sequence, written_at) VALUES (?, ?, ?, ?)
		ON CONFLICT (target, case_key) DO UPDATE SET sequence = excluded.sequence, written_at = excluded.written_at
		WHERE delivered.sequence < excluded.sequence`, target, caseKey, sequence, micros(now))
	return translate("noting delivered state", err)
}
