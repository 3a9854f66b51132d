package intake

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/report"
	"enbloc/server/store"
)

// planPart plans histology or events: they join the one case that they name,
// or wait for it.
func (in *Intake) planPart(ctx context.Context, p *plan, doc document, latest store.Document) error {
	if p.receipt.Repeated && latest.State == store.Parked {
		p.receipt.Outcome = Parked
		return nil
	}
	key, err := in.caseOf(ctx, p, doc, latest)
	if err != nil {
		return err
	}
	if key == "" {
		p.receipt.Outcome = Parked
		return nil
	}
	if p.had, err = in.Store.Case(ctx, key); err != nil {
		return err
	}
	if p.had.Status == string(report.Withdrawn) && !p.receipt.Repeated {
		return conflict(withdrawnCase)
	}
	row := doc.row(in.Tenant)
	same := func(d store.Document) bool {
		return d.Kind == row.Kind && d.Source == row.Source && d.PartID == row.PartID
	}
	if err := in.stand(ctx, p, same); err != nil {
		return err
	}
	merged, err := p.mergePart(doc)
	if err != nil {
		return err
	}
	if p.receipt.Repeated {
		return in.settle(p)
	}
	if err := in.takeParked(ctx, p, merged); err != nil {
		return err
	}
	return in.settle(p)
}

// caseOf is the key of the case that the part belongs to, empty when it is not
// there yet. A part that had joined a case keeps to it even when its
// identifiers fit none now: its identity is the link.
func (in *Intake) caseOf(ctx context.Context, p *plan, doc document, latest store.Document) (string, error) {
	if p.receipt.Repeated {
		return latest.CaseKey, nil
	}
	var err error
	p.seen.cases, err = in.Store.CasesByKeys(ctx, in.Tenant, doc.keys)
	if err != nil {
		return "", err
	}
	found, err := in.unvoid(ctx, p.seen.cases)
	switch {
	case err != nil:
		return "", err
	case len(found) > 1:
		return "", conflict(severalCases)
	case len(found) == 0:
		return latest.CaseKey, nil
	}
	key := found[0]
	ofCase, err := in.Store.CaseKeys(ctx, key)
	switch {
	case err != nil:
		return "", err
	case contradicts(doc.keys, ofCase):
		return "", conflict(contradiction)
	case latest.CaseKey != "" && latest.CaseKey != key:
		return "", conflict(otherCase)
	}
	return key, nil
}

// unvoid drops the cases that were withdrawn: nothing joins them any more, and
// the right case often has the same order. When all were, one is left to say so.
func (in *Intake) unvoid(ctx context.Context, keys []string) ([]string, error) {
	if len(keys) < 2 {
		return keys, nil
	}
	var out []string
	for _, key := range keys {
		c, err := in.Store.Case(ctx, key)
		if err != nil {
			return nil, err
		}
		if c.Status != string(report.Withdrawn) {
			out = append(out, key)
		}
	}
	if len(out) == 0 {
		out = keys[:1]
	}
	return out, nil
}

// mergePart joins the part and keeps what the checks say about the case now
// that they did not say before: that is what this part brought.
func (p *plan) mergePart(doc document) (report.Report, error) {
	before, had := checkMerged(p.parts)
	p.parts = p.parts.clone()
	p.parts.add(doc)
	if _, problems := p.parts.merged(); len(problems) > 0 {
		return report.Report{}, &Rejection{Findings: problems}
	}
	after, have := checkMerged(p.parts)
	known := map[report.Finding]bool{}
	for _, f := range had {
		known[steady(f, before)] = true
	}
	findings := slices.Clone(doc.findings)
	for _, f := range have {
		if !known[steady(f, after)] {
			f.Pointer = doc.pointer(f.Pointer, after)
			findings = append(findings, f)
		}
	}
	if report.Rejects(findings) {
		return report.Report{}, &Rejection{Findings: findings}
	}
	p.receipt.Findings = findings
	return after, nil
}

// steady makes findings of two states of a case comparable: events are sorted
// by time, so one more of them moves the others' places.
func steady(f report.Finding, of report.Report) report.Finding {
	if i, rest, ok := element(f.Pointer, "/events/"); ok && i < len(of.Events) {
		f.Pointer = "/events/" + of.Events[i].ID + rest
	}
	return f
}

// pointer turns a pointer into the merged case into one into the document that
// was sent; empty, the whole document, when the place is not in it.
func (d document) pointer(merged string, of report.Report) string {
	if i, rest, ok := element(merged, "/lesions/"); ok && i < len(of.Lesions) && strings.HasPrefix(rest, "/histology") {
		for j, result := range d.histology.Results {
			if of.LesionOf(result) == i {
				return "/results/" + strconv.Itoa(j) + rest
			}
		}
	}
	if i, rest, ok := element(merged, "/events/"); ok && i < len(of.Events) {
		at := slices.IndexFunc(d.events.Events, func(e report.Event) bool { return e.ID == of.Events[i].ID })
		if at >= 0 {
			return "/events/" + strconv.Itoa(at) + rest
		}
	}
	return ""
}

// element splits a pointer below a list into the index and what follows it.
func element(pointer, list string) (int, string, bool) {
	tail, ok := strings.CutPrefix(pointer, list)
	if !ok {
		return 0, "", false
	}
	number, _, _ := strings.Cut(tail, "/")
	i, err := strconv.Atoi(number)
	if err != nil || i < 0 {
		return 0, "", false
	}
	return i, tail[len(number):], true
}
