package store

import (
	"context"
	"time"
)

// settled are the states of a row after which nobody needs to render its state
// of the case again.
const settled = `('delivered', 'delivered-with-differences', 'superseded', 'withheld')`

// Thin empties the bodies that nothing needs any more of up to limit cases that
// were last changed before the time and are closed: every row of theirs is
// delivered, superseded or withheld. It returns how many cases it thinned; fewer than the
// limit means that none is left.
//
// Emptied are the documents that do not count in the present state, and the
// ledger's copies of what stands on the targets. Hashes, ids, versions and the
// documents of the present state stay: they are all that a later document, a
// replay or an update needs.
func (t *Tx) Thin(ctx context.Context, before time.Time, limit int) (int, error) {
	keys, err := list(ctx, t.reads, scanText, `SELECT case_key FROM cases WHERE thinned < sequence AND updated_at < ?
		AND NOT EXISTS (SELECT 1 FROM deliveries d WHERE d.case_key = cases.case_key AND d.state NOT IN `+settled+`)
		ORDER BY updated_at LIMIT ?`, micros(before), limit)
	if err != nil {
		return 0, translate("looking for cases to thin", err)
	}
	for _, key := range keys {
		if err := t.thinCase(ctx, key); err != nil {
			return 0, translate("thinning case", err)
		}
	}
	return len(keys), nil
}

func (t *Tx) thinCase(ctx context.Context, key string) error {
	// On Postgres somebody may be accepting a document for the case.
	t.LockCase(key)
	if _, err := t.exec(ctx, `UPDATE documents SET body = ? WHERE case_key = ? AND id NOT IN (SELECT s.document_id FROM states s
		JOIN cases c ON c.case_key = s.case_key AND c.sequence = s.sequence WHERE s.case_key = documents.case_key)`, []byte{}, key); err != nil {
		return err
	}
	if err := t.thinPages(ctx, key); err != nil {
		return err
	}
	_, err := t.exec(ctx, `UPDATE cases SET thinned = sequence WHERE case_key = ?`, key)
	return err
}
