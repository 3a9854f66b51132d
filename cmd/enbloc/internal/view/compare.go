package view

import (
	"strconv"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/mapping/assess"
	"enbloc/mapping/whatif"
)

// Compare writes what changed side by side with both reasons, then lists what
// stays as it is.
func Compare(p *layout.Page, pairs []whatif.Pair) {
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
		if pair.Changed {
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
