package intake

import (
	"context"
	"slices"

	"enbloc/mapping/check"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// reads are the queries that a plan rests on; a Store and a Tx have them both.
type reads interface {
	Case(ctx context.Context, key string) (store.Case, error)
	CaseKeys(ctx context.Context, caseKey string) ([]store.MatchKey, error)
	CasesByKeys(ctx context.Context, tenant string, keys []store.MatchKey) ([]string, error)
	DocumentKeys(ctx context.Context, documentID string) ([]store.MatchKey, error)
	DocumentsAt(ctx context.Context, caseKey string, sequence int) ([]store.Document, error)
	LatestPart(ctx context.Context, tenant string, kind store.Kind, source, partID string) (store.Document, error)
	ParkedByKeys(ctx context.Context, tenant string, keys []store.MatchKey) ([]store.Document, error)
	Present(ctx context.Context, tenant string, kind store.Kind, source, partID, caseKey string, keys []store.MatchKey) (store.Present, error)
}

// plan is what accepting a document would write, and what that rests on.
type plan struct {
	seen snapshot
	// alone are keys for which nothing waits in the car park.
	alone []store.MatchKey
	// had is the case before, zero when the document opens it or is parked.
	had store.Case
	// parts is the case with the document in it.
	parts parts
	// keep are the documents that count beside the new one, joins those among
	// them that leave the car park now.
	keep, joins []string
	// keys are what the case is found by from now on.
	keys    []store.MatchKey
	mapped  graph.Graph
	receipt Receipt
}

// snapshot is what a plan has seen of the store; the transaction must find the
// same.
type snapshot struct {
	latest   string   // id of the newest revision of this document
	cases    []string // the cases that a part's identifiers fit
	caseKey  string
	sequence int
	parked   []string // what waits for any of the plan's keys
}

// plan works out what accepting the document means. It writes nothing.
func (in *Intake) plan(ctx context.Context, doc document) (*plan, error) {
	latest, alone, err := in.first(ctx, doc)
	if err != nil {
		return nil, err
	}
	p := &plan{alone: alone, seen: snapshot{latest: latest.ID}, receipt: Receipt{Outcome: Accepted, Revision: doc.revision, Findings: doc.findings}}
	if err := p.compareRevision(doc, latest); err != nil {
		return nil, err
	}
	if doc.kind == store.Report {
		err = in.planReport(ctx, p, doc, latest)
	} else {
		err = in.planPart(ctx, p, doc, latest)
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

// first reads the newest revision known of the document, zero where there is none.
// Most reports are the first of their case and nothing waits for them: one look
// tells both. Alone are the keys for which nothing waits.
func (in *Intake) first(ctx context.Context, doc document) (latest store.Document, alone []store.MatchKey, err error) {
	if doc.kind == store.Report {
		present, err := in.Store.Present(ctx, in.Tenant, doc.kind, doc.source, doc.partID(), "", doc.keys)
		if err != nil {
			return store.Document{}, nil, err
		}
		if len(present.Parked) == 0 {
			alone = doc.keys
		}
		if present.Latest == "" {
			return store.Document{}, alone, nil
		}
	}
	latest, err = optional(in.Store.LatestPart(ctx, in.Tenant, doc.kind, doc.source, doc.partID()))
	return latest, alone, err
}

// compareRevision holds the document against the newest revision known.
func (p *plan) compareRevision(doc document, latest store.Document) error {
	switch {
	case latest.ID == "" || int64(doc.revision) > latest.Revision:
		return nil
	case int64(doc.revision) < latest.Revision:
		return conflict(olderRevision)
	case !sameContent(doc.raw, latest.Body):
		return conflict(sameRevisionOtherContent)
	}
	p.receipt.Repeated = true
	return nil
}

// stand loads the present state of the plan's case, without the document that
// the new one replaces, if it replaces one.
func (in *Intake) stand(ctx context.Context, p *plan, replaced func(store.Document) bool) error {
	p.seen.caseKey, p.seen.sequence = p.had.Key, p.had.Sequence
	if p.had.Key == "" {
		return nil
	}
	rows, err := in.Store.DocumentsAt(ctx, p.had.Key, p.had.Sequence)
	if err != nil {
		return err
	}
	if replaced != nil {
		rows = slices.DeleteFunc(rows, replaced)
	}
	for _, row := range rows {
		p.keep = append(p.keep, row.ID)
	}
	p.parts, err = partsOf(rows)
	return err
}

// settle maps the case as planned; an answer that changes nothing needs none.
func (in *Intake) settle(p *plan) error {
	p.receipt.Case, p.receipt.Sequence = p.had.Key, p.had.Sequence
	if p.receipt.Repeated {
		return nil
	}
	mapped, err := p.parts.mapped(in.Pipeline, p.had.Sequence+1)
	if err != nil {
		return Unmappable(err)
	}
	if p.had.Key != "" && p.had.Key != mapped.CaseKey {
		return &fault.Error{Op: "mapping case", Kind: fault.Internal, Subject: p.had.Key,
			Message: "The service's identity key is not the one that this case was opened with. The people who run the service must put it back."}
	}
	p.mapped = mapped
	p.seen.caseKey = mapped.CaseKey
	p.receipt.Case, p.receipt.Sequence = mapped.CaseKey, mapped.Sequence
	return nil
}

// checkMerged checks the whole case across its documents.
func checkMerged(p parts) (report.Report, []report.Finding) {
	merged, problems := p.merged()
	return merged, append(problems, check.Check(merged)...)
}

// optional turns "not found" into the zero value.
func optional[T any](v T, err error) (T, error) {
	if fault.Is(err, fault.NotFound) {
		var zero T
		return zero, nil
	}
	return v, err
}
