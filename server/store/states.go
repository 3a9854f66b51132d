package store

import "context"

// AddState records which documents make up a state of a case. A sequence that
// exists is a fault of kind Conflict.
func (t *Tx) AddState(ctx context.Context, caseKey string, sequence int, documentIDs []string) error {
	for _, id := range documentIDs {
		if err := t.write(ctx, "storing state", `INSERT INTO states (case_key, sequence, document_id) VALUES (?, ?, ?)`, caseKey, sequence, id); err != nil {
			return err
		}
	}
	return nil
}

// DocumentsAt returns the documents of a state of a case, oldest first, or a
// fault of kind NotFound when the case never had that state.
func (r reads) DocumentsAt(ctx context.Context, caseKey string, sequence int) ([]Document, error) {
	all, err := list(ctx, r, scanDocument, `SELECT `+documentColumns+` FROM documents
		WHERE id IN (SELECT document_id FROM states WHERE case_key = ? AND sequence = ?) ORDER BY id`, caseKey, sequence)
	if err != nil {
		return nil, translate("reading state", err)
	}
	if len(all) == 0 {
		return nil, notFound("state of this case")
	}
	return all, nil
}

// CaseDocuments returns every document of a case, oldest first, the outdated
// ones too.
func (r reads) CaseDocuments(ctx context.Context, caseKey string) ([]Document, error) {
	all, err := list(ctx, r, scanDocument, `SELECT `+documentColumns+` FROM documents WHERE case_key = ? ORDER BY id`, caseKey)
	return all, translate("reading documents of case", err)
}
