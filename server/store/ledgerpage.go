package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"

	"github.com/klauspost/compress/s2"
)

// A case's part of a target's ledger is one row, its page: a case is a hundred
// resources and more that say much the same, are always read together, and take
// an eighth of the room when they are packed together. S2, because it costs a
// quarter of what zstd does, which would pack to a twelfth.

// mostPage bounds what a page may unpack to, in bytes; a case of a hundred
// lesions needs a fraction of it.
const mostPage = 256 << 20

// press holds the room in which a page is packed: a third of a megabyte made
// anew costs nearly as much as filling it.
type press struct {
	plain, packed []byte
}

var presses = sync.Pool{New: func() any { return new(press) }}

func packPage(entries []LedgerEntry) []byte {
	p := presses.Get().(*press)
	defer presses.Put(p)
	p.plain = appendLines(p.plain[:0], entries)
	p.packed = s2.Encode(p.packed[:cap(p.packed)], p.plain)
	return bytes.Clone(p.packed)
}

func unpackPage(caseKey string, packed []byte) ([]LedgerEntry, error) {
	if n, err := s2.DecodedLen(packed); err != nil || n > mostPage {
		return nil, errors.Join(errDamaged, err)
	}
	plain, err := s2.Decode(nil, packed)
	if err != nil {
		return nil, fmt.Errorf("unpacking page: %w", err)
	}
	entries, err := readLines(plain)
	for i := range entries {
		entries[i].CaseKey = caseKey
	}
	return entries, err
}

// page is nil where nothing of the case stands on the target.
func (r reads) page(ctx context.Context, target, caseKey string) ([]LedgerEntry, error) {
	var packed []byte
	err := r.row(ctx, `SELECT entries FROM ledger_pages WHERE case_key = ? AND target = ?`, caseKey, target).Scan(&packed)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return unpackPage(caseKey, packed)
}

// changePage rewrites a page; without entries it goes. The case is locked, so
// that nobody changes it in between.
func (t *Tx) changePage(ctx context.Context, target, caseKey string, change func([]LedgerEntry) []LedgerEntry) error {
	t.LockCase(caseKey)
	entries, err := t.page(ctx, target, caseKey)
	if err != nil {
		return err
	}
	if entries = change(entries); len(entries) == 0 {
		return t.write(ctx, "clearing ledger", `DELETE FROM ledger_pages WHERE case_key = ? AND target = ?`, caseKey, target)
	}
	return t.write(ctx, "writing ledger", `INSERT INTO ledger_pages (case_key, target, entries) VALUES (?, ?, ?)
		ON CONFLICT (case_key, target) DO UPDATE SET entries = excluded.entries`, caseKey, target, packPage(inOrder(entries)))
}

// thinPages empties the bodies of a case on every target.
func (t *Tx) thinPages(ctx context.Context, caseKey string) error {
	targets, err := list(ctx, t.reads, scanText, `SELECT target FROM ledger_pages WHERE case_key = ?`, caseKey)
	if err != nil {
		return err
	}
	for _, target := range targets {
		if err := t.changePage(ctx, target, caseKey, func(page []LedgerEntry) []LedgerEntry {
			for i := range page {
				page[i].Body = nil
			}
			return page
		}); err != nil {
			return err
		}
	}
	return nil
}

// pagesFromRows is the part of migration 8 that SQL cannot do: the ledger had a
// row for each resource.
func pagesFromRows(ctx context.Context, t *Tx) error {
	if t.engine == Postgres { // it is packed already
		if _, err := t.exec(ctx, `ALTER TABLE ledger_pages ALTER COLUMN entries SET STORAGE EXTERNAL`); err != nil {
			return err
		}
	}
	for {
		owners, err := list(ctx, t.reads, func(row scanner) (o [2]string, err error) { return o, row.Scan(&o[0], &o[1]) },
			`SELECT DISTINCT target, case_key FROM ledger WHERE case_key <> '' LIMIT 1000`)
		if err != nil {
			return err
		}
		if len(owners) == 0 {
			_, err := t.exec(ctx, `DROP TABLE ledger`)
			return err
		}
		for _, o := range owners {
			entries, err := list(ctx, t.reads, scanShared, `SELECT `+sharedColumns+` FROM ledger WHERE case_key = ? AND target = ?`, o[1], o[0])
			if err != nil {
				return err
			}
			if err := t.changePage(ctx, o[0], o[1], func([]LedgerEntry) []LedgerEntry { return entries }); err != nil {
				return err
			}
			if _, err := t.exec(ctx, `DELETE FROM ledger WHERE case_key = ? AND target = ?`, o[1], o[0]); err != nil {
				return err
			}
		}
	}
}
