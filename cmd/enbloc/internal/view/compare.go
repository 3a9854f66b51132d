package view

import (
	"slices"
	"strconv"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/mapping/assess"
)

// Pair is one rule's answer before and after a change. Either may be nil when
// the rule applies on one side only.
type Pair struct {
	Before *assess.Result `json:"before"`
	After  *assess.Result `json:"after"`
}

// Changed reports whether the change altered answer, values or published risk.
func (p Pair) Changed() bool {
	if p.Before == nil || p.After == nil {
		return p.Before != p.After
	}
	return p.Before.Answer != p.After.Answer || p.Before.Reason != p.After.Reason
}

// Pairs sets the answers of two states of one case side by side: those of the
// first in its order, then those that only the second has.
func Pairs(before, after []assess.Result) []Pair {
	pairs := make([]Pair, 0, max(len(before), len(after)))
	same := func(a *assess.Result) func(assess.Result) bool {
		return func(b assess.Result) bool { return a.Rule == b.Rule && a.Lesion == b.Lesion && a.Event == b.Event }
	}
	for i := range before {
		pair := Pair{Before: &before[i]}
		if j := slices.IndexFunc(after, same(&before[i])); j >= 0 {
			pair.After = &after[j]
		}
		pairs = append(pairs, pair)
	}
	for i := range after {
		if !slices.ContainsFunc(before, same(&after[i])) {
			pairs = append(pairs, Pair{After: &after[i]})
		}
	}
	return pairs
}

// Compare writes what changed side by side with both reasons, then lists what
// stays as it is.
func Compare(p *layout.Page, pairs []Pair) {
	var changed, same [][]string
	for _, pair := range pairs {
		r := pair.Before
		if r == nil {
			r = pair.After
		}
		name := Title(*r)
		if r.Lesion > 0 {
			name = "Lesion " + strconv.Itoa(r.Lesion) + ": " + name
		}
		if pair.Changed() {
			name += "\n" + r.Guideline + " [" + r.Rule + "]"
			changed = append(changed, []string{name, side(pair.Before), side(pair.After)})
		} else {
			same = append(same, []string{name, Answer(*r)})
		}
	}
	if len(changed) == 0 {
		p.Title("No answer changes.")
	} else {
		p.Title(strconv.Itoa(len(changed)) + plural(len(changed), " answer") + verb(len(changed)) + ":")
		p.Gap()
		p.SpacedTable(0, []string{"Question", "Before", "After"}, changed)
	}
	p.Gap()
	if len(same) > 0 {
		p.Title("Unchanged:")
		p.Gap()
		p.Table(0, []string{"Question", "Before and after"}, same)
		p.Gap()
	}
	p.Text(0, Disclaimer)
}

func verb(n int) string {
	if n == 1 {
		return " changes"
	}
	return " change"
}

// side is one side of the comparison: the answer, then why.
func side(r *assess.Result) string {
	if r == nil {
		return "(the rule does not apply)"
	}
	return Answer(*r) + "\n" + r.Reason
}
