package indicator

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"enbloc/mapping/table"
)

// Query says what to count.
type Query struct {
	// By is how to part the rows, "" for not at all; see [Ways].
	By string
	// From and To bound the day of the session, both inclusive; a zero time is
	// no bound.
	From, To time.Time
	// AsOf is the day on which the figures are made: windows that are open then
	// are excluded. It is needed.
	AsOf time.Time
	// TestData counts invented cases, and only those; off, only real ones.
	TestData bool
	// SmallCell is the smallest count that is shown; 0 means 5. 1 shows all.
	SmallCell int
}

const smallCell = 5

// ways are the ways to part the rows. Year, quarter and month are those of the
// session.
var ways = map[string]string{
	"organ": "lesion.organ", "site": "lesion.site", "technique": "resection.technique", "operator": "case.operator_key",
	"facility": "case.facility_key", "paris": "lesion.paris_dominant", "year": "case.session_date", "quarter": "case.session_date", "month": "case.session_date",
}

// Ways lists the ways to part the rows.
func Ways() []string {
	out := make([]string, 0, len(ways))
	for name := range ways {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// Tally counts rows case by case. It is not safe for concurrent use.
type Tally struct {
	set    *Set
	query  Query
	asOf   int64
	part   cell
	counts map[string][]count // by group, then as the set's indicators
	rows   int
}

type count struct {
	yes, no, excluded, unknown int
	values                     []float64
}

// New starts a tally. Its errors say what is wrong with the query.
func New(set *Set, q Query) (*Tally, error) {
	if q.AsOf.IsZero() {
		return nil, errors.New("the day on which the figures are made is missing")
	}
	if !q.From.IsZero() && !q.To.IsZero() && q.To.Before(q.From) {
		return nil, fmt.Errorf("the period is empty: it ends on %s, before it begins on %s", q.To.Format(time.DateOnly), q.From.Format(time.DateOnly))
	}
	if q.SmallCell <= 0 {
		q.SmallCell = smallCell
	}
	t := &Tally{set: set, query: q, asOf: days(q.AsOf), counts: map[string][]count{}}
	if q.By != "" {
		column, ok := ways[q.By]
		if !ok {
			return nil, fmt.Errorf("figures cannot be parted by %q: choose from %s", q.By, strings.Join(Ways(), ", "))
		}
		t.part = (&compiler{}).column("", column)
	}
	return t, nil
}

func days(at time.Time) int64 {
	y, m, d := at.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / (24 * 60 * 60)
}

// Add counts one case.
func (t *Tally) Add(c table.Case) {
	whole := table.Cases.Rows(c)[0]
	if !t.wanted(c, whole) {
		return
	}
	lesions := byLesion(table.Lesions, c)
	resections := byLesion(table.Resections, c)
	histology := byLesion(table.Histology, c)
	around := func(lesion int64) map[*table.Table][]table.Value {
		return map[*table.Table][]table.Value{table.Cases: whole, table.Lesions: lesions[lesion],
			table.Resections: resections[lesion], table.Histology: histology[lesion]}
	}
	for _, r := range table.Resections.Rows(c) {
		t.count(table.Resections, around(r[lesionIndex(table.Resections)].Integer()))
	}
	for _, e := range table.Events.Rows(c) {
		cells := around(e[lesionIndex(table.Events)].Integer())
		cells[table.Events] = e
		t.count(table.Events, cells)
	}
}

func lesionIndex(t *table.Table) int { return t.Index("lesion") }

func byLesion(t *table.Table, c table.Case) map[int64][]table.Value {
	out := map[int64][]table.Value{}
	for _, r := range t.Rows(c) {
		out[r[lesionIndex(t)].Integer()] = r
	}
	return out
}

// Wanted reports whether a case is of the kind, the period and the state that
// the query asks for: whoever draws beside the figures takes the same cases.
func (t *Tally) Wanted(c table.Case) bool {
	whole := table.Cases.Rows(c)[0]
	return t.wanted(c, whole) && every(t.set.population, &row{cells: map[*table.Table][]table.Value{table.Cases: whole}, asOf: t.asOf}) == yes
}

var sessionDay = table.Cases.Index("session_date")

// wanted reports whether a case is asked for. A case without a day is in no
// period, and in no period's absence.
func (t *Tally) wanted(c table.Case, whole []table.Value) bool {
	if c.Report.TestData != t.query.TestData {
		return false
	}
	day := whole[sessionDay]
	if day.Empty() {
		return false
	}
	return (t.query.From.IsZero() || day.Integer() >= days(t.query.From)) &&
		(t.query.To.IsZero() || day.Integer() <= days(t.query.To))
}

func (t *Tally) count(per *table.Table, cells map[*table.Table][]table.Value) {
	r := &row{cells: cells, asOf: t.asOf}
	if every(t.set.population, r) != yes {
		return
	}
	t.rows++
	group := t.group(r)
	counts := t.counts[group]
	if counts == nil {
		counts = make([]count, len(t.set.Indicators))
		t.counts[group] = counts
	}
	for i := range t.set.Indicators {
		if t.set.Indicators[i].Per == per.Name {
			counts[i].add(&t.set.compiled[i], t.set.Indicators[i].Kind, r)
		}
	}
}

// add counts one row. What is not known leaves the rate.
func (n *count) add(c *compiled, kind Kind, r *row) {
	in, out := every(c.denominator, r), either(c.exclusions, r)
	switch {
	case in == no:
	case in == unknown:
		n.unknown++
	case out == yes:
		n.excluded++
	case out == unknown:
		n.unknown++
	case kind == Count:
		n.yes++
	case kind == Median:
		if v := c.value.of(r); v.Empty() {
			n.unknown++
		} else {
			n.values = append(n.values, v.Decimal())
		}
	default:
		switch c.numerator(r) {
		case yes:
			n.yes++
		case no:
			n.no++
		default:
			n.unknown++
		}
	}
}

const notReported = "not reported"

func (t *Tally) group(r *row) string {
	if t.query.By == "" {
		return ""
	}
	v := t.part.of(r)
	if v.Empty() {
		return notReported
	}
	if t.part.index != sessionDay || t.part.table != table.Cases {
		return v.Text()
	}
	day := v.Format(table.Day)
	switch t.query.By {
	case "year":
		return day[:4]
	case "month":
		return day[:7]
	}
	month := int(day[5]-'0')*10 + int(day[6]-'0')
	return fmt.Sprintf("%s-Q%d", day[:4], (month-1)/3+1)
}
