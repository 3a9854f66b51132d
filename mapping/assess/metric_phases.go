package assess

import (
	"slices"
	"strings"
	"time"

	"enbloc/mapping/report"
)

// rulePhases adds up how long each step took. Overlapping stretches of one
// step count once.
var rulePhases = &rule{
	id: "R10.metric.phase_durations", title: "Duration of the steps", from: arithmetic, confirmed: Arithmetic,
	scope: ScopeLesion, applies: resected,
	table: []Row{
		{"each step on the time line", "minutes, overlapping stretches counted once", Arithmetic},
		{"first start to last end", "minutes in all", Arithmetic},
	},
	ask: askPhases,
}

func askPhases(r *rule, k *look) Result {
	steps := stretches(k.resection().Phases)
	f := k.sign("/resection/phases", "time line of the steps", truthOf(len(steps) > 0), "not reported", "", "")
	if f.sign == no {
		return r.undecided(k, 0, f.bit, "the minutes of each step")
	}
	out := r.result(k)
	out.Values = map[string]any{}
	var parts []string
	var first, last time.Time
	for _, s := range steps {
		minutes := round(s.covered().Minutes(), 2)
		out.Values[strings.ReplaceAll(string(s.step), "-", "_")+"_min"] = minutes
		parts = append(parts, strings.ReplaceAll(string(s.step), "-", " ")+" "+plain(minutes)+" min")
		if first.IsZero() || s.spans[0].from.Before(first) {
			first = s.spans[0].from
		}
		if end := s.end(); end.After(last) {
			last = end
		}
	}
	total := round(last.Sub(first).Minutes(), 2)
	out.Values["total_min"] = total
	out.Answer = plain(total)
	out.Inputs = k.pointers(f.bit)
	out.Reason = plain(total) + " min from first to last: " + strings.Join(parts, ", ") + "."
	return r.finish(k, out)
}

type span struct{ from, to time.Time }

// stepTime is one step with its spans, by start.
type stepTime struct {
	step  report.Step
	spans []span
}

// stretches collects the spans of each step in order of first appearance;
// a span without step, or that ends before it starts, is left out.
func stretches(phases []report.Phase) []stepTime {
	var out []stepTime
	for _, p := range phases {
		if !report.Known(p.Step) || p.Start.IsZero() || p.End.At().Before(p.Start.At()) {
			continue
		}
		i := slices.IndexFunc(out, func(s stepTime) bool { return s.step == p.Step })
		if i < 0 {
			i, out = len(out), append(out, stepTime{step: p.Step})
		}
		out[i].spans = append(out[i].spans, span{p.Start.At(), p.End.At()})
	}
	for i := range out {
		slices.SortFunc(out[i].spans, func(a, b span) int { return a.from.Compare(b.from) })
	}
	return out
}

// covered is the time that the spans cover, overlaps counted once.
func (s stepTime) covered() time.Duration {
	var sum time.Duration
	var until time.Time
	for _, sp := range s.spans {
		from := sp.from
		if from.Before(until) {
			from = until
		}
		if sp.to.After(from) {
			sum, until = sum+sp.to.Sub(from), sp.to
		}
	}
	return sum
}

func (s stepTime) end() time.Time {
	return slices.MaxFunc(s.spans, func(a, b span) int { return a.to.Compare(b.to) }).to
}
