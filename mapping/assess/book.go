package assess

import (
	"cmp"
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

// BookVersion is the version of the rules in this package. It changes whenever
// an answer could: with a rule, a limit, a figure or an edition.
const BookVersion = "2026.1"

// Book is the rules that a department has put its name to: all rules, and
// which of them are on.
type Book struct {
	// Version names the state of the rules; a site that switches rules may add
	// its own mark ("2026.1+site-3").
	Version string
	off     map[string]bool // by rule id; rules are on unless named here
}

// DefaultBook is every rule that rests on a publication. Rules that rest on
// memory are off.
func DefaultBook() Book {
	b := Book{Version: BookVersion, off: map[string]bool{}}
	for _, r := range registry {
		if r.confirmed == Memory {
			b.off[r.id] = true
		}
	}
	return b
}

// Switch turns one rule, or every rule of a guideline, on or off.
type Switch struct {
	Rule      string // rule id, or
	Guideline string // short name of a guideline family: "JGES", "ESGE", "Korea"
	On        bool
}

// With returns a Book with the switches applied in order. A rule or guideline
// that is not in the book is an error.
func (b Book) With(switches ...Switch) (Book, error) {
	out := Book{Version: b.Version, off: map[string]bool{}}
	for id, is := range b.off {
		out.off[id] = is
	}
	for _, s := range switches {
		hit := false
		for _, r := range registry {
			if r.id == s.Rule || s.Rule == "" && r.from.society == s.Guideline {
				out.off[r.id], hit = !s.On, true
			}
		}
		if !hit {
			return b, fmt.Errorf("switching rules: the book has no rule %q and no guideline %q", s.Rule, s.Guideline)
		}
	}
	return out, nil
}

// Assess asks every rule that is on, in a fixed order: what concerns the
// session, then each lesion by its number, then each event. Retracted events
// are not asked about.
func (b Book) Assess(rep report.Report) []Result {
	k := look{rep: &rep}
	out := make([]Result, 0, 64)
	k.at(nil, nil, "")
	out = b.ask(&k, ScopeSession, out)
	for _, i := range lesionsByNumber(rep.Lesions) {
		k.at(&rep.Lesions[i], nil, lesionBase(i))
		out = b.ask(&k, ScopeLesion, out)
	}
	for i := range rep.Events {
		if rep.Events[i].Retracted {
			continue
		}
		k.at(lesionNumbered(&rep, rep.Events[i].Lesion), &rep.Events[i], eventBase(i))
		out = b.ask(&k, ScopeEvent, out)
	}
	return out
}

func (b Book) ask(k *look, s Scope, out []Result) []Result {
	for _, r := range registry {
		if r.scope != s || b.off[r.id] {
			continue
		}
		k.reset()
		if !r.applies(k) {
			continue
		}
		k.reset()
		out = append(out, r.ask(r, k))
	}
	return out
}

func lesionsByNumber(lesions []report.Lesion) []int {
	order := make([]int, len(lesions))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(lesions[a].Number, lesions[b].Number) })
	return order
}

func lesionNumbered(rep *report.Report, number int) *report.Lesion {
	for i := range rep.Lesions {
		if number != 0 && rep.Lesions[i].Number == number {
			return &rep.Lesions[i]
		}
	}
	return nil
}
