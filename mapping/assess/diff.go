package assess

import "reflect"

// Pair is what one rule said before and after a change; nil where it said
// nothing.
type Pair struct {
	Before  *Result `json:"before"`
	After   *Result `json:"after"`
	Changed bool    `json:"changed"` // in answer, values or what is missing
}

// Pairs sets the answers before and after a change side by side: in the order
// of before, then what is new.
func Pairs(before, after []Result) []Pair {
	type key struct {
		rule   string
		lesion int
		event  string
	}
	at := func(r Result) key { return key{r.Rule, r.Lesion, r.Event} }
	later := make(map[key]int, len(after))
	for i, r := range after {
		later[at(r)] = i
	}
	out := make([]Pair, 0, len(before))
	for i := range before {
		p := Pair{Before: &before[i], Changed: true}
		if j, ok := later[at(before[i])]; ok {
			p.After = &after[j]
			p.Changed = differs(before[i], after[j])
			delete(later, at(before[i]))
		}
		out = append(out, p)
	}
	for i := range after {
		if _, new := later[at(after[i])]; new {
			out = append(out, Pair{After: &after[i], Changed: true})
		}
	}
	return out
}

func differs(a, b Result) bool {
	return a.Answer != b.Answer || !reflect.DeepEqual(a.Values, b.Values) || !reflect.DeepEqual(a.Missing, b.Missing)
}
