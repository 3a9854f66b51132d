package intake

import (
	"context"
	"errors"
	"slices"
	"strconv"

	"enbloc/mapping/report"
	"enbloc/server/store"
)

// planReport plans a report: the first of its case, or a later revision.
func (in *Intake) planReport(ctx context.Context, p *plan, doc document, latest store.Document) error {
	var err error
	if latest.ID != "" { // no report, no case
		if p.had, err = in.Store.Case(ctx, latest.CaseKey); err != nil {
			return err
		}
	}
	if err := allowed(p, doc, latest); err != nil {
		return err
	}
	// The revisions before this one stay: they tell what it changed.
	if err := in.stand(ctx, p, nil); err != nil {
		return err
	}
	if !p.receipt.Repeated {
		p.parts.add(doc)
	}
	merged, findings, err := p.mergeReport(doc)
	if err != nil {
		return err
	}
	p.receipt.Findings = findings
	if p.receipt.Repeated {
		return in.settle(p)
	}
	if doc.void { // takes nothing in, but must not miss what comes meanwhile
		p.keys = keysOfCase(merged)
		_, err := in.waiting(ctx, p)
		return errors.Join(err, in.settle(p))
	}
	if err := in.takeParked(ctx, p, merged); err != nil {
		return err
	}
	return in.settle(p)
}

// allowed says whether a later revision may follow the one known.
func allowed(p *plan, doc document, latest store.Document) error {
	if latest.ID == "" || p.receipt.Repeated {
		return nil
	}
	before, err := stored(latest)
	switch {
	case err != nil:
		return err
	case before.void:
		return conflict(withdrawnCase)
	case doc.rep.Status == report.Draft && before.rep.Status != report.Draft:
		return conflict(draftAgain)
	case doc.rep.Patient.Identifier != before.rep.Patient.Identifier:
		return conflict(otherPatient)
	}
	return nil
}

// mergeReport joins the parts that the case has to the new revision and checks
// the whole. A withdrawn report is not held against its parts: it voids them.
func (p *plan) mergeReport(doc document) (report.Report, []report.Finding, error) {
	alone := len(p.parts.histology)+len(p.parts.events) == 0
	if alone || doc.void {
		merged, _ := p.parts.merged()
		return merged, doc.findings, nil
	}
	if p.orphans() {
		return report.Report{}, nil, conflict(orphanedPart)
	}
	if _, problems := p.parts.merged(); len(problems) > 0 {
		return report.Report{}, nil, &Rejection{Findings: []report.Finding{{
			ID: "report.lesion-of-histology-missing", Severity: report.Error, Pointer: "/lesions",
			Text:   "Histology has been accepted for a lesion that this revision does not have.",
			Mend:   "Keep the number and the containers of every lesion, or let the laboratory withdraw its part first.",
			Source: "document format " + report.SchemaReport,
		}}}
	}
	merged, findings := checkMerged(p.parts)
	if report.Rejects(findings) {
		return report.Report{}, nil, &Rejection{Findings: findings}
	}
	return merged, findings, nil
}

// orphans reports whether some part of the case names nothing any more that
// the case would have without it.
func (p *plan) orphans() bool {
	for i, h := range p.parts.histology {
		rest := p.parts
		rest.histology = slices.Delete(slices.Clone(p.parts.histology), i, i+1)
		if rest.loses(h.Part) {
			return true
		}
	}
	return slices.ContainsFunc(p.parts.events, func(e report.EventsPart) bool { return p.parts.loses(e.Part) })
}

func (p parts) loses(part report.Part) bool {
	merged, _ := p.merged()
	ofCase := keysOfCase(merged)
	keys := keysOfPart(part.Match)
	return !part.Withdrawn && (!intersects(keys, ofCase) || contradicts(keys, ofCase))
}

// takeParked joins the parts that wait for this case: those that fit it and no
// other. What does not fit stays parked, and the sender of the document is told.
func (in *Intake) takeParked(ctx context.Context, p *plan, merged report.Report) error {
	p.keys = keysOfCase(merged)
	for {
		waiting, err := in.waiting(ctx, p)
		if err != nil {
			return err
		}
		left := 0
		for _, doc := range waiting {
			fits, err := in.fits(ctx, p, doc)
			if err != nil {
				return err
			}
			if !fits {
				left++
			}
		}
		// A part can bring a laboratory's number that another part waits for.
		merged, _ = p.parts.merged()
		more := keysOfCase(merged)
		if len(more) == len(p.keys) {
			p.tellLeft(left)
			return nil
		}
		p.keys = more
	}
}

// waiting are the parked parts that name the plan's case and are not in the
// plan yet. An outdated revision never counts, whatever it names.
func (in *Intake) waiting(ctx context.Context, p *plan) ([]document, error) {
	if len(p.alone) > 0 && slices.Equal(p.keys, p.alone) {
		return nil, nil
	}
	rows, err := in.Store.ParkedByKeys(ctx, in.Tenant, p.keys)
	if err != nil {
		return nil, err
	}
	p.seen.parked = ids(rows)
	var out []document
	for _, row := range rows {
		newest, err := in.Store.LatestPart(ctx, in.Tenant, row.Kind, row.Source, row.PartID)
		if err != nil {
			return nil, err
		}
		if newest.ID != row.ID || row.ID == p.seen.latest || slices.Contains(p.joins, row.ID) {
			continue
		}
		doc, err := stored(row)
		if err != nil {
			return nil, err
		}
		out = append(out, doc)
	}
	return out, nil
}

// fits joins a waiting part to the plan if it belongs there and can.
func (in *Intake) fits(ctx context.Context, p *plan, doc document) (bool, error) {
	cases, err := in.Store.CasesByKeys(ctx, in.Tenant, doc.keys)
	if err != nil {
		return false, err
	}
	if cases, err = in.unvoid(ctx, cases); err != nil {
		return false, err
	}
	elsewhere := slices.ContainsFunc(cases, func(key string) bool { return key != p.had.Key })
	if elsewhere || contradicts(doc.keys, p.keys) {
		return false, nil
	}
	with := p.parts.clone()
	with.add(doc)
	if _, findings := checkMerged(with); report.Rejects(findings) {
		return false, nil
	}
	p.parts, p.keep, p.joins = with, append(p.keep, doc.rowID), append(p.joins, doc.rowID)
	return true, nil
}

// tellLeft says in the receipt that parts stayed behind.
func (p *plan) tellLeft(left int) {
	if left == 0 {
		return
	}
	p.receipt.Findings = append(slices.Clone(p.receipt.Findings), report.Finding{
		ID: "part.stays-parked", Severity: report.Warning, Pointer: "",
		Text:   strconv.Itoa(left) + " waiting part(s) name this case but do not fit it, and stay parked.",
		Mend:   "Look at the parked parts for the reason; correct the report or let the sender correct the part.",
		Source: "document format " + report.SchemaReport,
	})
}

func (p parts) clone() parts {
	p.histology, p.events = slices.Clone(p.histology), slices.Clone(p.events)
	return p
}

func ids(rows []store.Document) []string {
	var out []string
	for _, row := range rows {
		out = append(out, row.ID)
	}
	return out
}
