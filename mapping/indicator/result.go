package indicator

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"enbloc/mapping/assess/stats"
)

// Result is one figure of one group. What is suppressed or has no meaning is
// left out, never 0.
type Result struct {
	Indicator string `json:"indicator"`
	Title     string `json:"title"`
	Ten       int    `json:"ten,omitempty"`
	Kind      Kind   `json:"kind"`
	// Group is the part that the figure is of, "" for all.
	Group string `json:"group,omitempty"`
	// Numerator and Denominator count evaluable rows; of a count, Numerator is
	// the count.
	Numerator   *int `json:"numerator,omitempty"`
	Denominator *int `json:"denominator,omitempty"`
	// Excluded rows met an exclusion, NotEvaluable ones lack what decides.
	Excluded     *int `json:"excluded,omitempty"`
	NotEvaluable *int `json:"not_evaluable,omitempty"`
	// Rate with its Wilson 95% interval (Newcombe, Stat Med 1998;17:857, method
	// 3), as fractions of 1.
	Rate  *float64 `json:"rate,omitempty"`
	Lower *float64 `json:"ci95_lower,omitempty"`
	Upper *float64 `json:"ci95_upper,omitempty"`
	// IfNo and IfYes are the rate if every row that is not evaluable were no, or
	// yes.
	IfNo  *float64 `json:"rate_if_unknown_no,omitempty"`
	IfYes *float64 `json:"rate_if_unknown_yes,omitempty"`
	// Middle is the median, Quartile1 and Quartile3 the quartiles, by linear
	// interpolation; Unit is their UCUM code.
	Middle    *float64 `json:"median,omitempty"`
	Quartile1 *float64 `json:"quartile1,omitempty"`
	Quartile3 *float64 `json:"quartile3,omitempty"`
	Unit      string   `json:"unit,omitempty"`
	// Note says why figures are left out: suppressed, or nothing to count.
	Note string `json:"note,omitempty"`

	Direction  string      `json:"direction"`
	Definition string      `json:"definition"`
	Source     string      `json:"source"`
	Benchmarks []Benchmark `json:"benchmarks,omitempty"`
	Cautions   []string    `json:"cautions"`
}

// Report is everything that one query gives.
type Report struct {
	Version string `json:"definitions"`
	By      string `json:"by,omitempty"`
	From    string `json:"from,omitempty"`
	To      string `json:"to,omitempty"`
	AsOf    string `json:"as_of"`
	// TestData: the figures are of invented cases.
	TestData  bool `json:"test_data,omitempty"`
	SmallCell int  `json:"small_cell"`
	// Rows is how many resections and events of final reports were looked at;
	// left out when it is a small cell.
	Rows    *int     `json:"rows,omitempty"`
	Note    string   `json:"note,omitempty"`
	Results []Result `json:"results"`
}

// Notes of a result.
const (
	noteSmall   = "suppressed: small cell"
	noteSibling = "suppressed: a neighbour's small cell could be told from it"
	noteNothing = "nothing to count"
	noteEmpty   = "No resection of a final report lies in this period. Check the period, and whether test data are asked for."
	noteOne     = "Fewer cases than the smallest cell that is shown: figures of so few would describe single patients."
	cautionMix  = "Describes the cases of this unit; without their mix it judges nobody."
)

// Report closes the count. Groups come in order, "not reported" last.
func (t *Tally) Report() Report {
	q := t.query
	out := Report{Version: t.set.Version, By: q.By, From: dayOr(q.From), To: dayOr(q.To), AsOf: q.AsOf.Format(time.DateOnly),
		TestData: q.TestData, SmallCell: q.SmallCell, Results: []Result{}}
	switch {
	case t.rows == 0:
		out.Note = noteEmpty
		return out
	case t.rows < q.SmallCell:
		// Which parts and which figures there would be tells of the few, too.
		out.Note = noteOne
		for i := range t.set.Indicators {
			r := t.described(i, "")
			r.Note = noteSmall
			out.Results = append(out.Results, r)
		}
		return out
	}
	out.Rows = &t.rows
	groups := slices.Sorted(maps.Keys(t.counts))
	slices.SortStableFunc(groups, func(a, b string) int {
		return cmp.Compare(is(a == notReported), is(b == notReported))
	})
	for i := range t.set.Indicators {
		from := len(out.Results)
		for _, g := range groups {
			// A group that the indicator does not know is no result.
			if r := t.result(i, g); q.By == "" || r.Note != noteNothing || r.Excluded != nil {
				out.Results = append(out.Results, r)
			}
		}
		if q.By != "" {
			suppressSibling(out.Results[from:])
		}
	}
	return out
}

func dayOr(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.Format(time.DateOnly)
}

// described is a result without figures.
func (t *Tally) described(i int, group string) Result {
	d := &t.set.Indicators[i]
	r := Result{Indicator: d.ID, Title: d.Title, Ten: d.Ten, Kind: d.Kind, Group: group, Unit: d.Unit, Direction: d.Direction,
		Definition: t.set.words(d), Source: d.Source, Benchmarks: d.benchmarksFor(t.query.By, group), Cautions: []string{cautionMix}}
	if d.Caution != "" {
		r.Cautions = append(r.Cautions, d.Caution)
	}
	return r
}

func (t *Tally) result(i int, group string) Result {
	d, n := &t.set.Indicators[i], t.counts[group][i]
	r := t.described(i, group)
	evaluable := n.yes + n.no + len(n.values)
	switch total := evaluable + n.unknown + n.excluded; {
	case total == 0:
		r.Note = noteNothing
	case t.small(n, d.Kind):
		r.Note = noteSmall
	default:
		r.Excluded, r.NotEvaluable = &n.excluded, &n.unknown
		r.fill(n, d.Kind, evaluable)
	}
	return r
}

// small reports whether a figure would show, or let be told, a count below the
// smallest cell: that of all rows, evaluable or not, or of either side of a rate.
func (t *Tally) small(n count, kind Kind) bool {
	least := t.query.SmallCell
	few := func(v int) bool { return v > 0 && v < least }
	if few(n.yes + n.no + len(n.values) + n.unknown + n.excluded) {
		return true
	}
	if kind != Proportion {
		return few(n.yes + len(n.values))
	}
	return n.yes+n.no < least && n.yes+n.no > 0 || few(n.yes) || few(n.no)
}

func (r *Result) fill(n count, kind Kind, evaluable int) {
	if kind == Count {
		r.Numerator = &n.yes
		return
	}
	r.Denominator = &evaluable
	if evaluable == 0 {
		r.Note = noteNothing
		return
	}
	if kind == Median {
		slices.Sort(n.values)
		r.Middle, r.Quartile1, r.Quartile3 = quantile(n.values, 0.5), quantile(n.values, 0.25), quantile(n.values, 0.75)
		return
	}
	interval, err := stats.Wilson(n.yes, evaluable, stats.Z95)
	if err != nil {
		return // cannot be: there is a row, and no more yes than rows
	}
	every := float64(evaluable + n.unknown)
	r.Numerator = &n.yes
	r.Rate, r.Lower, r.Upper = &interval.Rate, &interval.Lower, &interval.Upper
	r.IfNo, r.IfYes = ptr(float64(n.yes)/every), ptr(float64(n.yes+n.unknown)/every)
}

func ptr(f float64) *float64 { return &f }

// quantile interpolates linearly between order statistics (Hyndman and Fan, Am
// Stat 1996;50:361, definition 7).
func quantile(sorted []float64, p float64) *float64 {
	at := p * float64(len(sorted)-1)
	low := int(math.Floor(at))
	high := min(low+1, len(sorted)-1)
	return ptr(sorted[low] + (at-float64(low))*(sorted[high]-sorted[low]))
}

// suppressSibling: where exactly one group of an indicator is suppressed, its
// figures are the difference of the whole and the rest, so the smallest
// neighbour goes, too.
func suppressSibling(groups []Result) {
	small, least := 0, -1
	for i, r := range groups {
		if r.Note == noteSmall {
			small++
		} else if size := r.size(); size > 0 && (least < 0 || size < groups[least].size()) {
			least = i
		}
	}
	if small == 1 && least >= 0 {
		groups[least].hide()
	}
}

func (r *Result) size() int {
	switch {
	case r.Denominator != nil:
		return *r.Denominator
	case r.Numerator != nil:
		return *r.Numerator
	}
	return 0
}

func (r *Result) hide() {
	r.Numerator, r.Denominator, r.Excluded, r.NotEvaluable = nil, nil, nil, nil
	r.Rate, r.Lower, r.Upper, r.IfNo, r.IfYes = nil, nil, nil, nil, nil
	r.Middle, r.Quartile1, r.Quartile3 = nil, nil, nil
	r.Note = noteSibling
}

// benchmarksFor leaves out benchmarks of other organs.
func (d *Definition) benchmarksFor(by, group string) []Benchmark {
	var out []Benchmark
	for _, b := range d.Benchmarks {
		if by != "organ" || len(b.Organs) == 0 || slices.Contains(b.Organs, group) {
			out = append(out, b)
		}
	}
	return out
}
