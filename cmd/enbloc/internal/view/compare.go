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

// Compare writes the pairs side by side; those that changed come first, with
// both reasons.
func Compare(p *layout.Page, pairs []Pair) {
	var changed, same [][]string
	for _, pair := range pairs {
		r := pair.Before
		if r == nil {
			r = pair.After
		}
		name := title(*r)
		if r.Lesion > 0 {
			name = "Lesion " + strconv.Itoa(r.Lesion) + ": " + name
		}
		name += "\n" + r.Guideline + " [" + r.Rule + "]"
		if pair.Changed() {
			changed = append(changed, []string{name, side(pair.Before, true), side(pair.After, true)})
		} else {
			same = append(same, []string{name, side(pair.Before, false), side(pair.After, false)})
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
		p.SpacedTable(0, []string{"Question", "Before", "After"}, same)
		p.Gap()
	}
	p.Text(0, disclaimer)
}

func verb(n int) string {
	if n == 1 {
		return " changes"
	}
	return " change"
}

// side is one side of the comparison.
func side(r *assess.Result, reason bool) string {
	if r == nil {
		return "(the rule does not apply)"
	}
	if !reason {
		return Answer(*r)
	}
	return Answer(*r) + "\n" + r.Reason
}
