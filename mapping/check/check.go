package check

import (
	"slices"
	"strconv"

	"enbloc/mapping/report"
)

// Row is one check as the table lists it.
type Row struct {
	ID       string
	Severity report.Severity
	// Organs are those that the check is about; empty for all.
	Organs []report.Organ
	// LooksAt names the fields that it compares, in words.
	LooksAt string
	// Source is a publication, or one of the constants logic and practice.
	Source string

	run look
}

// say records what a check saw. The pointer is relative to what the check was
// given: the document, a lesion, a histology or an event.
type say func(pointer, text, mend string)

// look is the function of a check; its type says what it is given.
type look interface{ looks() }

type (
	onReport        func(r *report.Report, say say)
	onLesion        func(l *report.Lesion, r *report.Report, say say)
	onHistology     func(h *report.Histology, say say)
	onEvent         func(e *report.Event, say say)
	onPart          func(p *report.Part, say say)
	onHistologyPart func(p *report.HistologyPart, say say)
	onEventsPart    func(p *report.EventsPart, say say)
)

func (onReport) looks()        {}
func (onLesion) looks()        {}
func (onHistology) looks()     {}
func (onEvent) looks()         {}
func (onPart) looks()          {}
func (onHistologyPart) looks() {}
func (onEventsPart) looks()    {}

// Check looks at a whole report: the envelope, the session, every lesion with
// its histology, every event and the plan.
func Check(r report.Report) []report.Finding {
	var all findings
	for i := range table {
		row := &table[i]
		switch run := row.run.(type) {
		case onReport:
			run(&r, all.say(row, ""))
		case onLesion:
			for n := range r.Lesions {
				if l := &r.Lesions[n]; row.concerns(l.Examination.Organ) {
					run(l, &r, all.say(row, at("/lesions", n)))
				}
			}
		case onHistology:
			for n := range r.Lesions {
				if h := r.Lesions[n].Histology; h != nil {
					run(h, all.say(row, at("/lesions", n)+"/histology"))
				}
			}
		case onEvent:
			for n := range r.Events {
				run(&r.Events[n], all.say(row, at("/events", n)))
			}
		}
	}
	return all
}

// CheckHistology looks at histology that arrives later. What needs the lesion
// is looked at when the part has joined its report.
func CheckHistology(p report.HistologyPart) []report.Finding {
	var all findings
	for i := range table {
		row := &table[i]
		switch run := row.run.(type) {
		case onPart:
			run(&p.Part, all.say(row, ""))
		case onHistologyPart:
			run(&p, all.say(row, ""))
		case onHistology:
			for n := range p.Results {
				run(&p.Results[n].Histology, all.say(row, at("/results", n)+"/histology"))
			}
		}
	}
	return all
}

// CheckEvents looks at events that arrive later. What needs the session is
// looked at when the part has joined its report.
func CheckEvents(p report.EventsPart) []report.Finding {
	var all findings
	for i := range table {
		row := &table[i]
		switch run := row.run.(type) {
		case onPart:
			run(&p.Part, all.say(row, ""))
		case onEventsPart:
			run(&p, all.say(row, ""))
		case onEvent:
			for n := range p.Events {
				run(&p.Events[n], all.say(row, at("/events", n)))
			}
		}
	}
	return all
}

// Table lists every check in the order in which they run.
func Table() []Row { return slices.Clone(table) }

// concerns reports whether the check is about this organ.
func (row *Row) concerns(o report.Organ) bool {
	return len(row.Organs) == 0 || slices.Contains(row.Organs, o)
}

type findings []report.Finding

// say makes the function by which a check of this row speaks of what lies
// under base.
func (f *findings) say(row *Row, base string) say {
	return func(pointer, text, mend string) {
		*f = append(*f, report.Finding{
			ID:       row.ID,
			Severity: row.Severity,
			Pointer:  base + pointer,
			Text:     text,
			Mend:     mend,
			Source:   row.Source,
		})
	}
}

// at is the pointer of the n-th item of a list.
func at(list string, n int) string { return list + "/" + strconv.Itoa(n) }
