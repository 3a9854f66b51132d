package store

import (
	"context"
	"time"
)

// Walk selects a stretch of all cases, oldest first: an order to which new
// cases only ever add at the end.
type Walk struct {
	Tenant string
	// Since leaves out cases that have not changed since; zero leaves out none.
	Since time.Time
	// After is the cursor of the stretch before; empty for the first.
	After string
	// Limit is the number of cases, 1 to 500; 0 means 50.
	Limit int
}

// CasesInOrder returns a stretch of cases and the cursor of its end; the stretch
// after the last is empty.
func (r reads) CasesInOrder(ctx context.Context, w Walk) ([]Case, string, error) {
	where, args := `tenant = ?`, []any{w.Tenant}
	if w.After != "" {
		at, key, err := splitCursor(w.After)
		if err != nil {
			return nil, "", err
		}
		where, args = where+` AND (created_at, case_key) > (?, ?)`, append(args, at, key)
	}
	if !w.Since.IsZero() {
		where, args = where+` AND updated_at >= ?`, append(args, micros(w.Since))
	}
	query := `SELECT ` + caseColumns + ` FROM cases WHERE ` + where + ` ORDER BY created_at, case_key LIMIT ?`
	all, err := list(ctx, r, scanCase, query, append(args, pageSize(w.Limit))...)
	if err != nil || len(all) == 0 {
		return nil, w.After, translate("walking cases", err)
	}
	last := all[len(all)-1]
	return all, joinCursor(micros(last.Created), last.Key), nil
}

// Mark stands for what the cases of a tenant say: it differs after every
// accepted document, and after nothing else. It means nothing outside the store.
type Mark struct{ cases, states int64 }

// Mark reads the mark of a tenant. A case is never removed and its sequence only
// rises, so that neither the order in which transactions end nor a clock that
// was put back brings an old mark again.
func (r reads) Mark(ctx context.Context, tenant string) (Mark, error) {
	var m Mark
	err := r.row(ctx, `SELECT count(*), coalesce(sum(sequence), 0) FROM cases WHERE tenant = ?`, tenant).Scan(&m.cases, &m.states)
	return m, translate("reading the mark of change", err)
}

// Standing returns the documents of the present state of each case, oldest
// first, by the key of the case. One query serves at most 500 cases.
func (r reads) Standing(ctx context.Context, caseKeys []string) (map[string][]Document, error) {
	out := make(map[string][]Document, len(caseKeys))
	all, err := list(ctx, r, scanDocument, `SELECT d.id, s.case_key, d.tenant, d.source, d.kind, d.part_id, d.revision, d.hash, d.body, d.state, d.received_at
		FROM cases c JOIN states s ON s.case_key = c.case_key AND s.sequence = c.sequence JOIN documents d ON d.id = s.document_id
		WHERE c.case_key IN (`+marks(len(caseKeys))+`) ORDER BY d.id`, anyOf(caseKeys)...)
	for _, d := range all {
		out[d.CaseKey] = append(out[d.CaseKey], d)
	}
	return out, translate("reading states", err)
}

// DeliveriesOf returns the outbox rows of the cases by target and sequence, by
// the key of the case. One query serves at most 500 cases.
func (r reads) DeliveriesOf(ctx context.Context, caseKeys []string) (map[string][]Delivery, error) {
	out := make(map[string][]Delivery, len(caseKeys))
	all, err := list(ctx, r, scanDelivery, `SELECT `+deliveryColumns+` FROM deliveries
		WHERE case_key IN (`+marks(len(caseKeys))+`) ORDER BY case_key, target, sequence`, anyOf(caseKeys)...)
	for _, d := range all {
		out[d.CaseKey] = append(out[d.CaseKey], d)
	}
	return out, translate("reading deliveries", err)
}

func anyOf(texts []string) []any {
	out := make([]any, len(texts))
	for i, t := range texts {
		out[i] = t
	}
	return out
}
