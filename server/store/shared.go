package store

import "context"

const sharedColumns = `role_key, role, type, server_id, version, hash, body, sequence, voided, written_at`

func scanShared(row scanner) (LedgerEntry, error) {
	var e LedgerEntry
	var voided, written int64
	err := row.Scan(&e.RoleKey, &e.Role, &e.Type, &e.ServerID, &e.Version, &e.Hash, &e.Body, &e.Sequence, &voided, &written)
	e.Voided, e.Written = voided != 0, fromMicros(written)
	return e, err
}

// SharedLedger returns what serves many cases on a target, by role key: all of it,
// for those who check. What is known by its keys is asked of [Store.Ledger].
func (r reads) SharedLedger(ctx context.Context, target string) ([]LedgerEntry, error) {
	all, err := list(ctx, r, scanShared, `SELECT `+sharedColumns+` FROM shared_ledger WHERE target = ? ORDER BY role_key`, target)
	return all, translate("reading shared ledger", err)
}

func (t *Tx) putShared(ctx context.Context, target string, entries []LedgerEntry) error {
	for _, e := range entries {
		if err := t.write(ctx, "writing ledger", `INSERT INTO shared_ledger (target, `+sharedColumns+`) VALUES (`+marks(11)+`)
			ON CONFLICT (target, role_key) DO UPDATE SET role = excluded.role, type = excluded.type,
			server_id = excluded.server_id, version = excluded.version, hash = excluded.hash, body = excluded.body,
			sequence = excluded.sequence, voided = excluded.voided, written_at = excluded.written_at`,
			target, e.RoleKey, e.Role, e.Type, e.ServerID, e.Version, e.Hash, e.Body, e.Sequence, flag(e.Voided), micros(e.Written)); err != nil {
			return err
		}
	}
	return nil
}
