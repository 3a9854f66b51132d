package assess

import (
	"maps"
	"slices"
)

// row is one line of a decision list: the first whose condition holds answers.
type row[C any] struct {
	when      string // the condition in words, as the book prints it
	is        func(c C) fact
	then      string // the class
	values    map[string]any
	reason    string    // what a clinician would say, without full stop
	confirmed Confirmed // "" for that of the rule
	caution   string
	risk      *Risk
}

// listed makes a rule of a decision list. Gather says what the rule looks for;
// key is the name of the class in Result.Values, "" for none.
//
// While a condition is unknown, its row stays possible and the walk goes on;
// the rule answers only when all rows that stayed possible give one class.
func listed[C any](r rule, key string, gather func(k *look) C, rows []row[C]) *rule {
	for i := range rows {
		if rows[i].confirmed == "" {
			rows[i].confirmed = r.confirmed
		}
		r.table = append(r.table, Row{rows[i].when, rows[i].then, rows[i].confirmed})
	}
	r.ask = func(r *rule, k *look) Result {
		c := gather(k)
		w := walk(c, rows)
		if !w.decided {
			ask := func() (string, bool) {
				again := walk(c, rows)
				return r.says(rows[again.possible[0]].then), again.decided
			}
			open := k.relevant(w.open, ask)
			return r.undecided(k, w.seen, open, k.decides(r.classes(plainRows(rows, w.possible)), open, ask), weakest(rows, w.possible).note())
		}
		return r.fromRows(k, key, plainRows(rows, w.possible), w)
	}
	return &r
}

// walked is how far a decision list decided.
type walked struct {
	possible   []int
	decided    bool
	seen, open set
}

func walk[C any](c C, rows []row[C]) walked {
	var w walked
	for i := range rows {
		f := rows[i].is(c)
		w.seen |= f.seen
		if f.is == no {
			continue
		}
		w.possible = append(w.possible, i)
		if f.is == yes {
			break
		}
		w.open |= f.open
	}
	w.decided = len(w.possible) > 0
	for _, i := range w.possible {
		w.decided = w.decided && rows[i].then == rows[w.possible[0]].then
	}
	return w
}

// classes lists in words the distinct classes of the rows still possible.
func (r *rule) classes(possible []answerRow) []string {
	var out []string
	for _, row := range possible {
		out = appendNew(out, r.says(row.then))
	}
	return out
}

// answerRow is a row without its condition.
type answerRow struct {
	then, reason, caution string
	values                map[string]any
	confirmed             Confirmed
	risk                  *Risk
}

func plainRows[C any](rows []row[C], possible []int) []answerRow {
	out := make([]answerRow, len(possible))
	for n, i := range possible {
		r := rows[i]
		out[n] = answerRow{r.then, r.reason, r.caution, r.values, r.confirmed, r.risk}
	}
	return out
}

// fromRows makes the answer of one or several rows that agree on the class.
// What they do not agree on is left out.
func (r *rule) fromRows(k *look, key string, rows []answerRow, w walked) Result {
	first := rows[0]
	out := r.result(k)
	out.Answer = first.then
	out.Values = maps.Clone(first.values)
	out.Confirmed = first.confirmed
	out.Inputs = k.pointers(w.seen)
	out.Reason = k.because(first.reason, w.seen)
	var cautions []string
	for _, other := range rows {
		maps.DeleteFunc(out.Values, func(name string, v any) bool { return !sameValue(other.values[name], v) })
		out.Confirmed = weaker(out.Confirmed, other.confirmed)
		cautions = append(cautions, other.caution)
	}
	if len(rows) > 1 {
		out.Reason = k.because(opening(r.framed(first.then))+", whatever the "+k.names(w.open), w.seen)
	} else if first.risk != nil {
		risk := *first.risk
		out.Risk = &risk
	}
	if key != "" {
		if out.Values == nil {
			out.Values = map[string]any{}
		}
		out.Values[key] = first.then
	}
	return r.finish(k, out, cautions...)
}

func sameValue(a, b any) bool {
	la, okA := a.([]float64)
	lb, okB := b.([]float64)
	if okA || okB {
		return okA && okB && slices.Equal(la, lb)
	}
	return a == b
}

// strength orders the degrees of confirmation, the weakest first.
var strength = []Confirmed{Memory, Transcription, SecondHand, Primary, Arithmetic}

func weaker(a, b Confirmed) Confirmed {
	if slices.Index(strength, b) < slices.Index(strength, a) {
		return b
	}
	return a
}

// degree is the degree of confirmation of several rows together.
type degree Confirmed

func weakest[C any](rows []row[C], possible []int) degree {
	out := Arithmetic
	for _, i := range possible {
		out = weaker(out, rows[i].confirmed)
	}
	return degree(out)
}

// note warns when one of the answers that are still possible is from memory.
func (d degree) note() string {
	if Confirmed(d) == Memory {
		return "One of the answers still possible rests on memory and is not confirmed."
	}
	return ""
}
