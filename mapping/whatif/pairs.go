package whatif

import (
	"reflect"

	"enbloc/mapping/assess"
)

// Pair is what one rule said before and after a change; nil where it said
// nothing, because it did not concern that state of the case.
type Pair struct {
	Rule    string         `json:"rule"`
	Lesion  int            `json:"lesion,omitempty"`
	Event   string         `json:"event,omitempty"`
	Changed bool           `json:"changed"` // in answer, values, reason or what is missing
	Before  *assess.Result `json:"before"`
	After   *assess.Result `json:"after"`
}

// Pairs sets the answers of two states of one case side by side: those of the
// first in its order, then those that only the second has.
func Pairs(before, after []assess.Result) []Pair {
	type key struct {
		rule   string
		lesion int
		event  string
	}
	at := func(r assess.Result) key { return key{r.Rule, r.Lesion, r.Event} }
	later := make(map[key]int, len(after))
	for i, r := range after {
		later[at(r)] = i
	}
	out := make([]Pair, 0, max(len(before), len(after)))
	for i := range before {
		b := &before[i]
		p := Pair{Rule: b.Rule, Lesion: b.Lesion, Event: b.Event, Changed: true, Before: b}
		if j, ok := later[at(*b)]; ok {
			p.After, p.Changed = &after[j], differs(*b, after[j])
			delete(later, at(*b))
		}
		out = append(out, p)
	}
	for i := range after {
		if _, only := later[at(after[i])]; only {
			a := &after[i]
			out = append(out, Pair{Rule: a.Rule, Lesion: a.Lesion, Event: a.Event, Changed: true, After: a})
		}
	}
	return out
}

func differs(a, b assess.Result) bool {
	return a.Answer != b.Answer || a.Reason != b.Reason || !reflect.DeepEqual(a.Values, b.Values) || !reflect.DeepEqual(a.Missing, b.Missing)
}
