package assess

import (
	"math"
	"math/bits"
	"slices"
	"strings"
)

// wouldDecide says what each missing finding would decide by itself: "B below
// 500 µm, C-2 from 500 µm". It puts every value that makes a difference in the
// finding's place, asks again, and takes the value out.
func (k *look) wouldDecide(open set, ask func() (class string, decided bool)) string {
	var parts []string
	for i := range k.n {
		f := &k.found[i]
		if open&f.bit == 0 {
			continue
		}
		if said := f.decides(ask); said != "" {
			parts = append(parts, said)
		}
	}
	return strings.Join(parts, "; ")
}

// decides says which classes are still possible, when more than one finding is
// missing, and what each missing finding would decide by itself.
func (k *look) decides(possible []string, open set, ask func() (string, bool)) string {
	alone := k.wouldDecide(open, ask)
	if bits.OnesCount64(uint64(open)) < 2 || len(possible) < 2 {
		return alone
	}
	out := "possible as reported: " + strings.Join(possible, " or ")
	if alone != "" {
		out += "; " + alone
	}
	return out
}

// outcome is a class together with the stretch of values that leads to it.
type outcome struct {
	class    string
	from, to *cut // nil at the ends
}

// decides says which values of one finding settle the class.
func (f *finding) decides(ask func() (string, bool)) string {
	kept := *f
	defer func() { *f = kept }()
	if f.isSign {
		return kept.decidesSign(f, ask)
	}
	cuts := kept.sortedCuts()
	var outcomes []outcome
	for i := 0; i <= len(cuts); i++ {
		v, from, to := between(&kept, cuts, i)
		f.lo, f.hi = v, v
		class, decided := ask()
		if !decided {
			class = ""
		}
		if n := len(outcomes); n > 0 && outcomes[n-1].class == class {
			outcomes[n-1].to = to
			continue
		}
		outcomes = append(outcomes, outcome{class, from, to})
	}
	var parts []string
	for _, o := range outcomes {
		if o.class != "" {
			parts = append(parts, o.class+" "+kept.stretch(o))
		}
	}
	return f.under(parts)
}

func (f *finding) decidesSign(live *finding, ask func() (string, bool)) string {
	var parts []string
	for _, v := range []truth{yes, no} {
		live.sign = v
		if class, decided := ask(); decided {
			word := f.ifYes
			if v == no {
				word = f.ifNo
			}
			parts = append(parts, class+" if "+word)
		}
	}
	return f.under(parts)
}

func (f *finding) under(parts []string) string {
	if len(parts) == 0 {
		return ""
	}
	return f.name + ": " + strings.Join(parts, ", ")
}

// sortedCuts are the limits that were asked for, in order.
func (f *finding) sortedCuts() []cut {
	cuts := slices.Clone(f.cuts)
	slices.SortFunc(cuts, cut.compare)
	return cuts
}

func (c cut) compare(d cut) int {
	switch {
	case c.at < d.at, c.at == d.at && c.fromIt && !d.fromIt:
		return -1
	case c == d:
		return 0
	}
	return 1
}

// between picks a value from the i-th stretch between the limits.
func between(f *finding, cuts []cut, i int) (v float64, from, to *cut) {
	if i > 0 {
		from = &cuts[i-1]
	}
	if i < len(cuts) {
		to = &cuts[i]
	}
	switch {
	case from != nil && from.fromIt:
		return from.at, from, to
	case from != nil && to != nil:
		return (from.at + to.at) / 2, from, to
	case from != nil:
		return from.at + 1, from, to
	case to == nil:
		return 0, from, to
	case !to.fromIt:
		return to.at, from, to
	}
	return (math.Max(f.lo, to.at-2) + to.at) / 2, from, to
}

// stretch words the values that lead to an outcome.
func (f *finding) stretch(o outcome) string {
	var words []string
	if o.from != nil {
		words = append(words, f.lower(*o.from))
	}
	if o.to != nil {
		words = append(words, f.upper(*o.to))
	}
	if len(words) == 0 {
		return "in any case"
	}
	return strings.Join(words, " and ")
}

func (f *finding) lower(c cut) string {
	switch {
	case f.unit == "µm" && c.at == 0:
		return "in the submucosa"
	case c.fromIt:
		return "from " + f.measured(c.at)
	}
	return "above " + f.measured(c.at)
}

func (f *finding) upper(c cut) string {
	switch {
	case f.unit == "µm" && c.at == 0:
		return "within the mucosa"
	case c.fromIt:
		return "below " + f.measured(c.at)
	}
	return "up to " + f.measured(c.at)
}

// measured writes a figure with its unit.
func (f *finding) measured(v float64) string {
	if f.unit == "%" {
		return plain(v) + f.unit
	}
	return strings.TrimSpace(plain(v) + " " + f.unit)
}
