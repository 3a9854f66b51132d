package intake

import (
	"context"
	"errors"
	"time"

	"enbloc/mapping/report"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// Waiting is one parked part and why it waits.
type Waiting struct {
	ID       string     `json:"id"`
	Kind     store.Kind `json:"kind"`
	Source   string     `json:"source_system"`
	Revision int64      `json:"revision"`
	Received time.Time  `json:"received_at"`
	// Names says by what the part can be matched, never the identifiers.
	Names []store.MatchName `json:"matched_by"`
	// Reason is a fixed word, Explanation a sentence for people.
	Reason      string           `json:"reason"`
	Explanation string           `json:"explanation"`
	Findings    []report.Finding `json:"findings"`
}

// Reasons why a part waits.
const (
	NoCase       = "no-case"
	SeveralCases = "several-cases"
	DoesNotFit   = "does-not-fit"
)

// Parked returns a page of the parts that wait for their case, and the cursor
// of the next page, empty after the last. Revisions that a newer one has
// replaced are left out.
func (in *Intake) Parked(ctx context.Context, after string, limit int) ([]Waiting, string, error) {
	rows, err := in.Store.ParkedDocuments(ctx, store.ParkedQuery{Tenant: in.Tenant, After: after, Limit: limit})
	if err != nil {
		return nil, "", err
	}
	out := []Waiting{}
	for _, row := range rows {
		newest, err := in.Store.LatestPart(ctx, in.Tenant, row.Kind, row.Source, row.PartID)
		if err != nil {
			return nil, "", err
		}
		if newest.ID != row.ID {
			continue
		}
		w, err := in.why(ctx, row)
		if err != nil {
			return nil, "", err
		}
		out = append(out, w)
	}
	if len(rows) < limit {
		return out, "", nil
	}
	return out, rows[len(rows)-1].ID, nil
}

// why asks what would happen if the part came now.
func (in *Intake) why(ctx context.Context, row store.Document) (Waiting, error) {
	w := Waiting{ID: row.ID, Kind: row.Kind, Source: row.Source, Revision: row.Revision, Received: row.Received,
		Reason: NoCase, Explanation: "No case with these identifiers has come yet.", Findings: []report.Finding{}}
	doc, err := stored(row)
	if err != nil {
		return w, err
	}
	for _, k := range doc.keys {
		w.Names = append(w.Names, k.Name)
	}
	p := &plan{}
	err = in.planPart(ctx, p, doc, store.Document{})
	var rejected *Rejection
	switch {
	case errors.As(err, &rejected):
		w.Reason, w.Findings = DoesNotFit, rejected.Findings
		w.Explanation = "The case that it names is there, but the part does not fit it. Let its sender correct it, or correct the report."
	case fault.Is(err, fault.Conflict):
		w.Reason, w.Explanation = DoesNotFit, fault.Message(err)
		if len(p.seen.cases) > 1 {
			w.Reason = SeveralCases
		}
	case err != nil:
		return w, err
	case p.receipt.Outcome != Parked:
		w.Reason, w.Explanation = DoesNotFit, "The case that it names came later or was corrected. The next document of the case takes the part in."
	}
	return w, nil
}
