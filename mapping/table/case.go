package table

import (
	"enbloc/mapping/report"
)

// before, and the like below, stand in for a part that was left out, so that
// every field of it reads as not reported.
func before(a *at) *report.Before {
	if a.c.Report.Before == nil {
		return &report.Before{}
	}
	return a.c.Report.Before
}

var caseColumns = []Column{
	key(),
	counted("sequence", "enbloc", "Number of the state of the case, from 1; every accepted document adds one.", func(a *at) int { return a.c.Sequence }),
	required(words("status", "status", "State of the report: draft, signed, amended, corrected, withdrawn.", func(a *at) string { return string(a.c.Report.Status) })),
	required(cells("test_data", Boolean, "", "test_data", "True for invented data.", func(a *at) Value { return boolean(a.c.Report.TestData) })),
	cells("session_date", Day, "", "session.start", "Day of the session, in its own zone.", func(a *at) Value { return day(a.c.Report.Session.Start.Day()) }),
	words("session_kind", "session.kind", "Kind of endoscopy.", func(a *at) string { return string(a.c.Report.Session.Kind) }),
	cells("session_min", Decimal, "min", "session.start, session.end", "Time at the endoscope.", func(a *at) Value {
		return minutesBetween(a.c.Report.Session.Start, a.c.Report.Session.End)
	}),
	words("endoscope", "session.endoscope", "Type of endoscope.", func(a *at) string { return string(a.c.Report.Session.Endoscope) }),
	words("gas", "session.gas", "Gas that distended the lumen.", func(a *at) string { return string(a.c.Report.Session.Gas) }),
	words("cap", "session.cap", "Distal attachment mounted.", func(a *at) string { return string(a.c.Report.Session.Cap) }),
	figure("age_y", "a", "patient.age_y", "Age on the day of the session, completed years.", func(a *at) report.Number { return a.c.Report.Patient.AgeY }),
	words("asa_class", "before.asa_class", "ASA physical status, 1 to 6.", func(a *at) string { return string(before(a).ASAClass) }),
	words("haemodialysis", "before.haemodialysis", "On maintenance haemodialysis.", func(a *at) string { return string(before(a).Haemodialysis) }),
	words("antithrombotic_history", "before.antithrombotic_history", "How complete the list of antithrombotics is. A drug that is not listed was not taken only where the list is complete.",
		func(a *at) string { return string(before(a).AntithromboticHistory) }),
	words("antithrombotics", "before.antithrombotics[].class", "Classes of antithrombotic drug, parted by semicolons.", func(a *at) string {
		var classes []report.DrugClass
		for _, d := range before(a).Antithrombotics {
			classes = append(classes, d.Class)
		}
		return joined(classes)
	}),
	words("indication", "before.indication", "Why the lesion was to be removed.", func(a *at) string { return string(before(a).Indication) }),
	words("h_pylori", "before.h_pylori", "What is known of Helicobacter pylori.", func(a *at) string { return string(before(a).HPylori) }),
	words("sedation_depth", "before.sedation.depth", "Deepest level of sedation intended.", func(a *at) string {
		if s := before(a).Sedation; s != nil {
			return string(s.Depth)
		}
		return ""
	}),
	words("facility_key", "facility", "Opaque key of the facility.", func(a *at) string { return a.c.opaque(a.c.Report.Facility) }),
	words("operator_key", "operators[]", "Opaque key of the person who led the resection: the first with the role operator.", func(a *at) string {
		for _, o := range a.c.Report.Operators {
			if o.Role == report.OperatorLead {
				return a.c.opaque(&o.Identifier)
			}
		}
		return ""
	}),
	words("trainee", "operators[].role", "A trainee worked at the endoscope; empty when no operator is named.", trainee),
	counted("lesions", "lesions", "Number of lesions.", func(a *at) int { return len(a.c.Report.Lesions) }),
	counted("resections", "lesions[].resection", "Number of lesions resected, or whose resection was begun.", func(a *at) int { return resections(a.c) }),
	counted("events", "events", "Number of events that were not retracted.", func(a *at) int {
		n := 0
		for _, e := range a.c.Report.Events {
			if !e.Retracted {
				n++
			}
		}
		return n
	}),
}

func trainee(a *at) string {
	if len(a.c.Report.Operators) == 0 {
		return ""
	}
	for _, o := range a.c.Report.Operators {
		if o.Role == report.OperatorTrainee {
			return string(report.Yes)
		}
	}
	return string(report.No)
}

func resections(c *Case) int {
	n := 0
	for _, l := range c.Report.Lesions {
		if l.Resection != nil {
			n++
		}
	}
	return n
}

func (c *Case) opaque(id *report.Identifier) string {
	if id == nil || id.Zero() || c.Opaque == nil {
		return ""
	}
	return c.Opaque(*id)
}

// minutesBetween is empty when a time is missing or they run backwards.
func minutesBetween(start, end report.Time) Value {
	if start.IsZero() || end.IsZero() || end.At().Before(start.At()) {
		return Value{}
	}
	return decimal(end.At().Sub(start.At()).Minutes())
}
