package table

import (
	"slices"
	"time"

	"enbloc/mapping/assess"
	"enbloc/mapping/report"
)

// Case is one case as it is to be laid flat.
type Case struct {
	Key string
	// Sequence numbers the state of the case, from 1.
	Sequence int
	// Report is the merged case, Results what the rule book says about it.
	Report  report.Report
	Results []assess.Result
	// Opaque makes the key of a person or place, such as a keyed hash of its
	// identifier; the identifier itself never enters a row. Nil leaves the
	// columns empty.
	Opaque func(report.Identifier) string
	// Deliveries are the outbox rows of the case, oldest first.
	Deliveries []Delivery
}

// Delivery is one state of a case on its way to one target.
type Delivery struct {
	Sequence              int
	Target, State, Reason string
	Attempts              int
	Created, Updated      time.Time
}

// Column is one column of a table.
type Column struct {
	Name string
	Type Type
	// Unit is the UCUM code of the unit, "" for none (https://ucum.org).
	Unit        string
	Description string
	// Source is where the value comes from: a field of the report as a JSON
	// path, a rule by its id, or "enbloc".
	Source string
	// Required columns are never empty.
	Required bool
	// Key columns together name a row.
	Key bool

	get func(a *at) Value
}

// Table is one table.
type Table struct {
	Name, Title, Description string
	Columns                  []Column
	// each calls emit for every row of a case.
	each func(c *Case, emit func(at))
}

// at is the place in a case that a row is about.
type at struct {
	c        *Case
	lesion   *report.Lesion
	event    *report.Event
	number   int // of the event or answer within the case, from 1
	result   *assess.Result
	delivery *Delivery
	// answers are those about the row's lesion or event.
	answers []*assess.Result
}

// The tables.
var (
	Cases       = &Table{Name: "case", Title: "Cases", Description: "One row per session at the endoscope. A withdrawn case keeps its row and loses its content.", each: eachCase, Columns: caseColumns}
	Lesions     = &Table{Name: "lesion", Title: "Lesions", Description: "One row per lesion, resected or left in place, as the endoscopist saw it.", each: eachLesion, Columns: lesionColumns}
	Resections  = &Table{Name: "resection", Title: "Resections", Description: "One row per lesion that was resected, or whose resection was begun.", each: eachResection, Columns: resectionColumns}
	Histology   = &Table{Name: "histology", Title: "Histology", Description: "One row per lesion that the laboratory has reported on.", each: eachHistology, Columns: histologyColumns}
	Assessments = &Table{Name: "assessment", Title: "Answers of the rules", Description: "One row per rule and lesion, event or session. Information for licensed clinicians, not an instruction.", each: eachAssessment, Columns: assessmentColumns}
	Events      = &Table{Name: "event", Title: "Adverse events", Description: "One row per event that was not retracted.", each: eachEvent, Columns: eventColumns}
	Deliveries  = &Table{Name: "delivery", Title: "Deliveries", Description: "One row per state of a case and target.", each: eachDelivery, Columns: deliveryColumns}
)

// All lists the tables in the order in which they are written.
func All() []*Table {
	return []*Table{Cases, Lesions, Resections, Histology, Assessments, Events, Deliveries}
}

// Index is the place of a column, or -1.
func (t *Table) Index(column string) int {
	return slices.IndexFunc(t.Columns, func(c Column) bool { return c.Name == column })
}

// Rows are the rows of a case in this table. A withdrawn case says nothing but
// that it was withdrawn.
func (t *Table) Rows(c Case) [][]Value {
	if c.Report.Status == report.Withdrawn {
		c.Report = report.Report{Status: report.Withdrawn, TestData: c.Report.TestData}
		c.Results = nil
	}
	var rows [][]Value
	t.each(&c, func(a at) {
		row := make([]Value, len(t.Columns))
		for i := range t.Columns {
			row[i] = t.Columns[i].get(&a)
		}
		rows = append(rows, row)
	})
	return rows
}

func eachCase(c *Case, emit func(at)) { emit(at{c: c}) }

// inOrder are the lesions by number, so that the rows do not hang on the order
// of the document.
func inOrder(c *Case) []*report.Lesion {
	out := make([]*report.Lesion, len(c.Report.Lesions))
	for i := range out {
		out[i] = &c.Report.Lesions[i]
	}
	slices.SortStableFunc(out, func(a, b *report.Lesion) int { return a.Number - b.Number })
	return out
}

func eachLesion(c *Case, emit func(at)) {
	for _, l := range inOrder(c) {
		emit(at{c: c, lesion: l, answers: answersOf(c, l.Number, "")})
	}
}

func eachResection(c *Case, emit func(at)) {
	for _, l := range inOrder(c) {
		if l.Resection != nil {
			emit(at{c: c, lesion: l, answers: answersOf(c, l.Number, "")})
		}
	}
}

func eachHistology(c *Case, emit func(at)) {
	for _, l := range inOrder(c) {
		if l.Histology != nil {
			emit(at{c: c, lesion: l})
		}
	}
}

func eachAssessment(c *Case, emit func(at)) {
	for i := range c.Results {
		emit(at{c: c, result: &c.Results[i], number: i + 1})
	}
}

func eachEvent(c *Case, emit func(at)) {
	number := 0
	for i := range c.Report.Events {
		if e := &c.Report.Events[i]; !e.Retracted {
			number++
			emit(at{c: c, event: e, number: number, answers: answersOf(c, 0, e.ID)})
		}
	}
}

func eachDelivery(c *Case, emit func(at)) {
	for i := range c.Deliveries {
		emit(at{c: c, delivery: &c.Deliveries[i]})
	}
}

// answersOf are the answers about a lesion (and no event) or about an event.
func answersOf(c *Case, lesion int, event string) []*assess.Result {
	var out []*assess.Result
	for i := range c.Results {
		r := &c.Results[i]
		if event != "" && r.Event == event || event == "" && r.Event == "" && r.Lesion == lesion {
			out = append(out, r)
		}
	}
	return out
}

// ruled is the answer of a rule about the row's subject, nil when it was not
// asked.
func (a *at) ruled(rule string) *assess.Result {
	for _, r := range a.answers {
		if r.Rule == rule {
			return r
		}
	}
	return nil
}
