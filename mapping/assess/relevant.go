package assess

// maxCombinations bounds how many combinations of missing findings are tried.
const maxCombinations = 512

// relevant narrows the missing findings to those that could change the class:
// it tries every combination of the values that make a difference. Where there
// are too many, all stay.
func (k *look) relevant(open set, ask func() (class string, decided bool)) set {
	var missing []*finding
	var values [][]float64
	total := 1
	for i := range k.n {
		f := &k.found[i]
		if open&f.bit == 0 {
			continue
		}
		v := f.candidates()
		if total *= len(v); total > maxCombinations {
			return open
		}
		missing, values = append(missing, f), append(values, v)
	}
	kept := make([]finding, len(missing))
	for i, f := range missing {
		kept[i] = *f
	}
	classes := make([]string, total)
	for n := range classes {
		rest := n
		for i, f := range missing {
			f.pretend(values[i][rest%len(values[i])])
			rest /= len(values[i])
		}
		classes[n], _ = ask()
	}
	for i, f := range missing {
		*f = kept[i]
	}
	if out := differing(classes, missing, values); out != 0 {
		return out
	}
	return open
}

// differing is the set of findings along whose values the class changes.
func differing(classes []string, missing []*finding, values [][]float64) set {
	var out set
	step := 1
	for i, f := range missing {
		for n := range classes {
			if (n/step)%len(values[i]) > 0 && classes[n] != classes[n-step] {
				out |= f.bit
				break
			}
		}
		step *= len(values[i])
	}
	return out
}

// candidates are values of the finding from each stretch that a rule tells
// apart.
func (f *finding) candidates() []float64 {
	if f.isSign {
		return []float64{float64(no), float64(yes)}
	}
	cuts := f.sortedCuts()
	out := make([]float64, 0, len(cuts)+1)
	for i := 0; i <= len(cuts); i++ {
		v, _, _ := between(f, cuts, i)
		out = append(out, v)
	}
	return out
}

// pretend gives the finding a value for the time of a trial.
func (f *finding) pretend(v float64) {
	if f.isSign {
		f.sign = truth(v)
		return
	}
	f.lo, f.hi = v, v
}
