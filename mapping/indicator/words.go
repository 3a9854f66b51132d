package indicator

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"enbloc/mapping/table"
)

// words says in one sentence what an indicator counts.
func (s *Set) words(d *Definition) string {
	per := "resections"
	if d.Per == table.Events.Name {
		per = "adverse events"
	}
	text := "Of " + per
	if len(d.Denominator) > 0 {
		text += " (" + s.listed(d.Denominator) + ")"
	}
	if len(d.Exclusions) > 0 {
		text += " without those where " + s.listed(d.Exclusions)
	}
	switch d.Kind {
	case Proportion:
		return text + ": the share where " + s.predicates[d.Numerator].Text + "."
	case Median:
		return text + ": the median of " + d.Value + "."
	}
	return text + ": the number."
}

func (s *Set) listed(names []string) string {
	texts := make([]string, len(names))
	for i, n := range names {
		texts[i] = s.predicates[n].Text
	}
	return strings.Join(texts, "; ")
}

var csvHeader = []string{"indicator", "title", "group", "kind", "numerator", "denominator", "excluded", "not_evaluable",
	"rate", "ci95_lower", "ci95_upper", "rate_if_unknown_no", "rate_if_unknown_yes", "median", "quartile1", "quartile3", "unit",
	"note", "direction", "benchmarks", "definition", "source"}

// WriteCSV writes the results as RFC 4180 text, one a line; what is left out is
// an empty cell.
func (r Report) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(csvHeader); err != nil {
		return err
	}
	for _, x := range r.Results {
		err := out.Write([]string{x.Indicator, x.Title, x.Group, string(x.Kind), whole(x.Numerator), whole(x.Denominator), whole(x.Excluded),
			whole(x.NotEvaluable), figure(x.Rate), figure(x.Lower), figure(x.Upper), figure(x.IfNo), figure(x.IfYes), figure(x.Middle),
			figure(x.Quartile1), figure(x.Quartile3), x.Unit, x.Note, x.Direction, x.Compare(), x.Definition, x.Source})
		if err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func whole(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

func figure(f *float64) string {
	if f == nil {
		return ""
	}
	return strconv.FormatFloat(*f, 'f', -1, 64)
}

// Compare says the benchmarks with their citations in one line.
func (r Result) Compare() string {
	var parts []string
	for _, b := range r.Benchmarks {
		figure, unit := b.Pct, "%"
		if r.Kind == Median {
			figure, unit = b.Value, " "+r.Unit
		}
		parts = append(parts, strconv.FormatFloat(figure, 'f', -1, 64)+unit+" "+b.Of+" ["+b.Source+"; "+b.Confirmed+"]")
	}
	return strings.Join(parts, " | ")
}
