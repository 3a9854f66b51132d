package store

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"enbloc/server/fault"
)

// Case is one endoscopic session as the service knows it: the business key it
// came under and the latest state.
type Case struct {
	// Key is the opaque case key; Tenant, Source and ReportID are the business
	// key, unique together.
	Key, Tenant, Source, ReportID string
	// Sequence numbers the states from 1; every accepted document adds one.
	Sequence int
	// Revision is the report's own revision, and Status its status, in the
	// newest report accepted.
	Revision int64
	Status   string
	// Summary is a small JSON object for lists. Whoever fills it keeps names
	// and patient identifiers out: it is shown and paged through without
	// opening a document.
	Summary json.RawMessage
	// Created is when the first document was accepted, Updated the last.
	Created, Updated time.Time
}

const caseColumns = `case_key, tenant, source, report_id, sequence, revision, status, summary, created_at, updated_at`

func scanCase(row scanner) (Case, error) {
	var c Case
	var created, updated int64
	err := row.Scan(&c.Key, &c.Tenant, &c.Source, &c.ReportID, &c.Sequence, &c.Revision, &c.Status, (*[]byte)(&c.Summary), &created, &updated)
	c.Created, c.Updated = fromMicros(created), fromMicros(updated)
	return c, err
}

// Case returns the case with the key, or a fault of kind NotFound.
func (r reads) Case(ctx context.Context, key string) (Case, error) {
	c, err := scanCase(r.row(ctx, `SELECT `+caseColumns+` FROM cases WHERE case_key = ?`, key))
	return c, found("case", err)
}

// CaseQuery selects a page of cases, newest first.
type CaseQuery struct {
	Tenant string
	// After is the cursor of the page before; empty for the first page.
	After string
	// Limit is the size of the page, 1 to 500; 0 means 50.
	Limit int
}

// Cases returns one page and the cursor of the next, empty after the last. It
// reads as many rows as the page has, however many cases there are.
func (r reads) Cases(ctx context.Context, q CaseQuery) ([]Case, string, error) {
	limit := pageSize(q.Limit)
	where, args := `tenant = ?`, []any{q.Tenant}
	if q.After != "" {
		at, key, err := splitCursor(q.After)
		if err != nil {
			return nil, "", err
		}
		where, args = where+` AND (created_at, case_key) < (?, ?)`, append(args, at, key)
	}
	query := `SELECT ` + caseColumns + ` FROM cases WHERE ` + where + ` ORDER BY created_at DESC, case_key DESC LIMIT ?`
	all, err := list(ctx, r, scanCase, query, append(args, limit+1)...)
	if err != nil {
		return nil, "", translate("listing cases", err)
	}
	if len(all) <= limit {
		return all, "", nil
	}
	last := all[limit-1]
	return all[:limit], joinCursor(micros(last.Created), last.Key), nil
}

// LockCase makes other transactions that lock the same case wait until this one
// ends. On SQLite a transaction excludes every other writer anyway. A case that
// does not exist yet can be locked too. The lock is taken with the next read or
// write of the transaction, and an error of it is that one's.
func (t *Tx) LockCase(key string) { t.lock([]string{caseLock(key)}) }

func caseLock(key string) string { return "case|" + key }

// lock takes advisory locks on Postgres, one after the other, for as long as the
// transaction lasts. Two texts may share a lock by their hash, which costs a
// wait and nothing else.
func (t *Tx) lock(texts []string) {
	if t.engine != Postgres {
		return
	}
	texts = slices.DeleteFunc(texts, func(text string) bool { return slices.Contains(t.locked, text) })
	if len(texts) == 0 {
		return
	}
	t.gathered.add("locking", nil, `SELECT pg_advisory_xact_lock(hashtextextended(text, 0)) FROM unnest($1::text[]) AS text`, []any{texts})
	t.locked = append(t.locked, texts...)
}

// PutCase stores a new case (Sequence 1) or the next state of one. A Sequence
// that does not follow the stored one is a fault of kind Conflict: somebody
// else was faster, read again. Created is kept from the first time.
func (t *Tx) PutCase(ctx context.Context, c Case) error {
	if len(c.Summary) == 0 {
		c.Summary = json.RawMessage(`{}`)
	}
	if c.Sequence == 1 {
		return t.write(ctx, "storing case", `INSERT INTO cases (`+caseColumns+`) VALUES (`+marks(10)+`)`,
			c.Key, c.Tenant, c.Source, c.ReportID, c.Sequence, c.Revision, c.Status, []byte(c.Summary), micros(c.Updated), micros(c.Updated))
	}
	moved := fault.New(fault.Conflict, "The case has moved on meanwhile. Read its present state and send again.")
	return t.writeOne(ctx, "storing case", moved, `UPDATE cases SET sequence = ?, revision = ?, status = ?, summary = ?, updated_at = ? WHERE case_key = ? AND sequence = ?`,
		c.Sequence, c.Revision, c.Status, []byte(c.Summary), micros(c.Updated), c.Key, c.Sequence-1)
}
