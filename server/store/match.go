package store

import (
	"context"
	"slices"
	"strings"
)

// MatchName says which identifier of the trade a match key is.
type MatchName string

// What a part of another sender can name its case by.
const (
	ByReport    MatchName = "report"
	ByOrder     MatchName = "order"
	ByAccession MatchName = "accession"
)

// MatchKey is one business identifier by which parts and cases find each other.
type MatchKey struct {
	Name          MatchName
	System, Value string
}

// severalCases is where counting matches stops: one joins, more is a conflict.
const severalCases = 10

// CasesByKeys returns the keys of the cases that have any of the match keys,
// each once: none, one, or several (at most ten are named).
func (r reads) CasesByKeys(ctx context.Context, tenant string, keys []MatchKey) ([]string, error) {
	if len(keys) == 0 {
		return nil, nil
	}
	where, args := anyKey(tenant, keys)
	all, err := list(ctx, r, scanText, `SELECT DISTINCT case_key FROM case_keys WHERE `+where+` ORDER BY case_key LIMIT ?`,
		append(args, severalCases)...)
	return all, translate("matching cases", err)
}

// ParkedByKeys returns the parked documents that have any of the match keys,
// oldest first: those that a new case lets in.
func (r reads) ParkedByKeys(ctx context.Context, tenant string, keys []MatchKey) ([]Document, error) {
	if len(keys) == 0 {
		return nil, nil
	}
	where, args := anyKey(tenant, keys)
	all, err := list(ctx, r, scanDocument, `SELECT `+documentColumns+` FROM documents
		WHERE state = 'parked' AND id IN (SELECT document_id FROM document_keys WHERE `+where+`) ORDER BY id`, args...)
	return all, translate("matching parked documents", err)
}

// Present is what a document meets in the store.
type Present struct {
	// Latest is the id of the newest revision of the part, empty for none.
	Latest string
	// Sequence is that of the latest state of the case, 0 where there is none.
	Sequence int
	// Parked are the ids of the parked documents with any of the match keys,
	// oldest first.
	Parked []string
}

// Present looks for what [Tx.LatestPart], [Tx.Case] and [Tx.ParkedByKeys] return,
// at once and no more of it than tells whether it is still the same.
func (r reads) Present(ctx context.Context, tenant string, kind Kind, source, partID, caseKey string, keys []MatchKey) (Present, error) {
	query := `SELECT 'latest', coalesce((SELECT id FROM documents WHERE tenant = ? AND kind = ? AND source = ? AND part_id = ?
			ORDER BY revision DESC LIMIT 1), ''), 0
		UNION ALL SELECT 'case', '', sequence FROM cases WHERE case_key = ?`
	args := []any{tenant, kind, source, partID, caseKey}
	if len(keys) > 0 {
		where, of := anyKey(tenant, keys)
		query += ` UNION ALL SELECT 'parked', id, 0 FROM documents WHERE state = 'parked' AND id IN (SELECT document_id FROM document_keys WHERE ` + where + `)`
		args = append(args, of...)
	}
	var p Present
	_, err := list(ctx, r, func(row scanner) (none struct{}, err error) {
		var what, id string
		var n int
		err = row.Scan(&what, &id, &n)
		switch what {
		case "latest":
			p.Latest = id
		case "case":
			p.Sequence = n
		case "parked":
			p.Parked = append(p.Parked, id)
		}
		return none, err
	}, query, args...)
	slices.Sort(p.Parked) // ids sort by time
	return p, translate("looking at what is there", err)
}

// DocumentKeys returns the match keys of a document.
func (r reads) DocumentKeys(ctx context.Context, documentID string) ([]MatchKey, error) {
	all, err := list(ctx, r, scanKey, `SELECT name, system, value FROM document_keys WHERE document_id = ? ORDER BY name, system, value`, documentID)
	return all, translate("reading match keys", err)
}

// CaseKeys returns the match keys of a case.
func (r reads) CaseKeys(ctx context.Context, caseKey string) ([]MatchKey, error) {
	all, err := list(ctx, r, scanKey, `SELECT name, system, value FROM case_keys WHERE case_key = ? ORDER BY name, system, value`, caseKey)
	return all, translate("reading match keys", err)
}

// AddCaseKeys gives a case these match keys beside those that it has.
func (t *Tx) AddCaseKeys(ctx context.Context, tenant, caseKey string, keys []MatchKey) error {
	return t.addKeys(ctx, `case_keys (case_key`, caseKey, tenant, keys)
}

// SetCaseKeys exchanges the match keys of a case for these.
func (t *Tx) SetCaseKeys(ctx context.Context, tenant, caseKey string, keys []MatchKey) error {
	if err := t.write(ctx, "removing match keys", `DELETE FROM case_keys WHERE case_key = ?`, caseKey); err != nil {
		return err
	}
	return t.AddCaseKeys(ctx, tenant, caseKey, keys)
}

// LockKeys keeps a part and its case from missing each other when both arrive
// at the same moment on Postgres: call it with the match keys, and the key of
// the case where it is known, before looking for a counterpart. Locks are taken
// in one order, the case last, so two callers cannot wait for each other. On
// SQLite it does nothing, as one transaction runs at a time. As with
// [Tx.LockCase], the next read or write takes them.
func (t *Tx) LockKeys(tenant string, keys []MatchKey, caseKey string) {
	texts := make([]string, len(keys))
	for i, k := range keys {
		texts[i] = strings.Join([]string{"key", tenant, string(k.Name), k.System, k.Value}, "|")
	}
	slices.Sort(texts)
	texts = slices.Compact(texts)
	if caseKey != "" {
		texts = append(texts, caseLock(caseKey))
	}
	t.lock(texts)
}

func (t *Tx) addKeys(ctx context.Context, into, owner, tenant string, keys []MatchKey) error {
	if len(keys) == 0 {
		return nil
	}
	row := `(` + marks(5) + `)`
	var args []any
	for _, k := range keys {
		args = append(args, owner, tenant, k.Name, k.System, k.Value)
	}
	return t.write(ctx, "storing match keys",
		`INSERT INTO `+into+`, tenant, name, system, value) VALUES `+row+strings.Repeat(`, `+row, len(keys)-1)+` ON CONFLICT DO NOTHING`, args...)
}

// anyKey names the tenant with every key. Once in front of all of them, SQLite
// would look up the tenant and read the keys of every case that it has.
func anyKey(tenant string, keys []MatchKey) (string, []any) {
	var args []any
	terms := make([]string, len(keys))
	for i, k := range keys {
		terms[i] = `(tenant = ? AND name = ? AND system = ? AND value = ?)`
		args = append(args, tenant, k.Name, k.System, k.Value)
	}
	return `(` + strings.Join(terms, " OR ") + `)`, args
}

func scanText(row scanner) (string, error) {
	var s string
	err := row.Scan(&s)
	return s, err
}

func scanKey(row scanner) (MatchKey, error) {
	var k MatchKey
	err := row.Scan(&k.Name, &k.System, &k.Value)
	return k, err
}
