package indicator

import (
	"fmt"
	"slices"
	"strings"

	"enbloc/mapping/table"
)

// Predicate is one named condition on a row. Exactly one of Column, All and Any
// is given. On a column it is In, Recorded, AtLeast or WithinDays.
type Predicate struct {
	Text   string `json:"text"`
	Column string `json:"column,omitempty"` // table.column
	// In are the words that make it true. Words of No make it false even where
	// they would else be unknown: an empty cell, a stated absence,
	// cannot-be-assessed, undetermined and none-recorded.
	In []string `json:"in,omitempty"`
	No []string `json:"no,omitempty"`
	// Recorded is true when the cell holds anything but an absence; it is never
	// unknown.
	Recorded bool `json:"recorded,omitempty"`
	// AtLeast is a lower limit, inclusive.
	AtLeast *float64 `json:"at_least,omitempty"`
	// WithinDays is true when fewer than that many days lie between the day in
	// the cell and the day on which the figures are made.
	WithinDays int `json:"within_days,omitempty"`

	All []string `json:"all,omitempty"`
	Any []string `json:"any,omitempty"`
}

type truth int

const (
	no truth = iota
	unknown
	yes
)

// is answers yes or no.
func is(b bool) truth {
	if b {
		return yes
	}
	return no
}

// row is one row that is counted, with the rows that it belongs to in other
// tables; a table without one (no histology) has nil.
type row struct {
	cells map[*table.Table][]table.Value
	asOf  int64 // days since 1970-01-01
}

type test func(r *row) truth

// cell is one column of a row.
type cell struct {
	table *table.Table
	index int
}

func (c cell) of(r *row) table.Value {
	if cells := r.cells[c.table]; cells != nil {
		return cells[c.index]
	}
	return table.Value{}
}

// compiler turns names into tests and keeps what is wrong.
type compiler struct {
	predicates map[string]Predicate
	open       []string // names being resolved, against circles
	errs       []error
}

func (c *compiler) fail(format string, args ...any) {
	c.errs = append(c.errs, fmt.Errorf("reading definitions of indicators: "+format, args...))
}

func (c *compiler) tests(where string, names []string) []test {
	out := make([]test, len(names))
	for i, name := range names {
		out[i] = c.named(where, name)
	}
	return out
}

func never(*row) truth { return no }

func (c *compiler) named(where, name string) test {
	p, ok := c.predicates[name]
	if !ok || slices.Contains(c.open, name) {
		c.fail("%s: predicate %q is not there, or leads to itself", where, name)
		return never
	}
	c.open = append(c.open, name)
	defer func() { c.open = c.open[:len(c.open)-1] }()
	if p.Text == "" {
		c.fail("predicate %q: text is missing", name)
	}
	switch {
	case len(p.All) > 0 && len(p.Any) == 0 && p.Column == "":
		return all(c.tests(name, p.All))
	case len(p.Any) > 0 && len(p.All) == 0 && p.Column == "":
		return some(c.tests(name, p.Any))
	case len(p.All) > 0 || len(p.Any) > 0:
		c.fail("predicate %q: give one of column, all, any", name)
		return never
	}
	return c.onColumn(name, p)
}

func (c *compiler) column(where, name string) cell {
	first, second, _ := strings.Cut(name, ".")
	for _, t := range []*table.Table{table.Cases, table.Lesions, table.Resections, table.Histology, table.Events} {
		if t.Name == first {
			if i := t.Index(second); i >= 0 {
				return cell{t, i}
			}
		}
	}
	c.fail("%s: no table has the column %q", where, name)
	return cell{table.Cases, 0}
}

func (c *compiler) onColumn(name string, p Predicate) test {
	at := c.column(name, p.Column)
	switch kind := at.table.Columns[at.index].Type; {
	case len(p.In) > 0 && kind == table.Text:
		return func(r *row) truth { return oneOf(at.of(r).Text(), p) }
	case p.Recorded:
		return func(r *row) truth { v := at.of(r); return is(!v.Empty() && !absent(v.Text())) }
	case p.AtLeast != nil && kind == table.Decimal:
		limit := *p.AtLeast
		return func(r *row) truth {
			if v := at.of(r); !v.Empty() {
				return is(v.Decimal() >= limit)
			}
			return unknown
		}
	case p.WithinDays > 0 && kind == table.Day:
		return func(r *row) truth {
			if v := at.of(r); !v.Empty() {
				return is(r.asOf-v.Integer() < int64(p.WithinDays))
			}
			return unknown
		}
	}
	c.fail("predicate %q: asks nothing that the column %q can answer", name, p.Column)
	return never
}

func oneOf(word string, p Predicate) truth {
	switch {
	case slices.Contains(p.In, word):
		return yes
	case slices.Contains(p.No, word):
		return no
	case absent(word), word == "", word == "cannot-be-assessed", word == "undetermined", word == "none-recorded":
		return unknown
	}
	return no
}

// absent reports whether a word states an absence.
func absent(word string) bool {
	return word == "unknown" || word == "not-assessed" || word == "not-applicable"
}

// all is no when one is, else unknown when one is.
func all(tests []test) test {
	return func(r *row) truth { return every(tests, r) }
}

func every(tests []test, r *row) truth {
	out := yes
	for _, t := range tests {
		out = min(out, t(r))
	}
	return out
}

// some is yes when one is, else unknown when one is.
func some(tests []test) test {
	return func(r *row) truth { return either(tests, r) }
}

func either(tests []test, r *row) truth {
	out := no
	for _, t := range tests {
		out = max(out, t(r))
	}
	return out
}
