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
