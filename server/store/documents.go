package store

import (
	"context"
	"time"

	"github.com/google/uuid"

	"enbloc/server/fault"
)

// Kind is what a document is a part of.
type Kind string

// The three kinds of document.
const (
	Report    Kind = "report"
	Histology Kind = "histology"
	Events    Kind = "events"
)

// Placement says whether a document belongs to a case yet.
type Placement string

// A document either counts in a case or waits for its case to come.
const (
	Joined Placement = "joined"
	Parked Placement = "parked"
)

// Document is one accepted body, kept as it came.
type Document struct {
	// ID is ours, sorts by time of receipt, and is set by AddDocument.
	ID string
	// CaseKey is empty while the document is parked.
	CaseKey        string
	Tenant, Source string
	Kind           Kind
	// PartID is the sender's identity of the part (the report id, the
	// laboratory's report id, the event's id); Revision is the sender's. Both
	// together are unique for a tenant, source and kind.
	PartID   string
	Revision int64
	// Hash is that of Body, in whatever form intake compares.
	Hash     string
	Body     []byte
	State    Placement
	Received time.Time
	// Keys are what the document can be matched by. Queries that list
	// documents leave them out.
	Keys []MatchKey
}

const documentColumns = `id, coalesce(case_key, ''), tenant, source, kind, part_id, revision, hash, body, state, received_at`

func scanDocument(row scanner) (Document, error) {
	var d Document
	var received int64
	err := row.Scan(&d.ID, &d.CaseKey, &d.Tenant, &d.Source, &d.Kind, &d.PartID, &d.Revision, &d.Hash, &d.Body, &d.State, &received)
	d.Received = fromMicros(received)
	return d, err
}

// Document returns the document with the id, or a fault of kind NotFound.
func (r reads) Document(ctx context.Context, id string) (Document, error) {
	d, err := scanDocument(r.row(ctx, `SELECT `+documentColumns+` FROM documents WHERE id = ?`, id))
	return d, found("document", err)
}

// LatestPart returns the newest revision of a part, joined or parked, or a
// fault of kind NotFound. It is how a repeated or outdated document is told.
func (r reads) LatestPart(ctx context.Context, tenant string, kind Kind, source, partID string) (Document, error) {
	d, err := scanDocument(r.row(ctx, `SELECT `+documentColumns+` FROM documents
		WHERE tenant = ? AND kind = ? AND source = ? AND part_id = ? ORDER BY revision DESC LIMIT 1`, tenant, kind, source, partID))
	return d, found("document", err)
}

// ParkedQuery selects a page of parked documents, newest first.
type ParkedQuery struct {
	Tenant string
	// After is the id of the last document of the page before.
	After string
	// Limit is the size of the page, 1 to 500; 0 means 50.
	Limit int
}

// ParkedDocuments returns one page of the documents that wait for their case.
// The id of the last is the cursor of the next page.
func (r reads) ParkedDocuments(ctx context.Context, q ParkedQuery) ([]Document, error) {
	where, args := `tenant = ? AND state = 'parked'`, []any{q.Tenant}
	if q.After != "" {
		where, args = where+` AND id < ?`, append(args, q.After)
	}
	all, err := list(ctx, r, scanDocument, `SELECT `+documentColumns+` FROM documents WHERE `+where+` ORDER BY id DESC LIMIT ?`,
		append(args, pageSize(q.Limit))...)
	return all, translate("listing parked documents", err)
}

// AddDocument stores a document with its match keys and sets its ID. The same
// revision of the same part a second time is a fault of kind Conflict.
func (t *Tx) AddDocument(ctx context.Context, d *Document) error {
	id, err := uuid.NewV7()
	if err != nil {
		return fault.Wrap("making document id", fault.Internal, err)
	}
	d.ID = id.String()
	var caseKey any
	if d.CaseKey != "" {
		caseKey = d.CaseKey
	}
	err = t.write(ctx, "storing document", `INSERT INTO documents (id, case_key, tenant, source, kind, part_id, revision, hash, body, state, received_at)
		VALUES (`+marks(11)+`)`, d.ID, caseKey, d.Tenant, d.Source, d.Kind, d.PartID, d.Revision, d.Hash, d.Body, d.State, micros(d.Received))
	if err != nil {
		return err
	}
	return t.addKeys(ctx, `document_keys (document_id`, d.ID, d.Tenant, d.Keys)
}

// JoinDocument moves a parked document into a case. A document that is not
// parked (any more) is a fault of kind Conflict.
func (t *Tx) JoinDocument(ctx context.Context, id, caseKey string) error {
	gone := fault.New(fault.Conflict, "The document is not waiting for a case any more.")
	return t.writeOne(ctx, "joining document", gone, `UPDATE documents SET case_key = ?, state = 'joined' WHERE id = ? AND state = 'parked'`, caseKey, id)
}
