package fhir

import (
	"strconv"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// Narrative is the report in words, as XHTML that FHIR allows: what was found
// and done, what follows from it by which rule and how far that rule is
// confirmed, what is pending, and the plan. It is the text that is signed, and
// the page that is shown. Whatever the report says as free text is escaped.
func Narrative(rep report.Report, results []assess.Result) string {
	return page(func(x *xhtml) {
		x.heading("Endoscopic resection report")
		if rep.TestData {
			x.paragraph("Test data: no real person.")
		}
		x.paragraph(stateWords(rep))
		sessionPart(x, rep)
		told := newAnswers(results)
		for _, l := range byNumber(rep.Lesions) {
			x.subheading("Lesion " + strconv.Itoa(l.Number) + ": " + lesionTitle(l.Examination))
			of := told.about(func(r answer) bool { return r.Event == "" && r.Lesion == l.Number })
			told.summary(x, of)
			lesionPart(x, l)
			told.details(x, of)
		}
		if of := told.about(func(r answer) bool { return r.Event == "" && r.Lesion == 0 }); len(of) > 0 {
			x.subheading("The session as a whole")
			told.summary(x, of)
			told.details(x, of)
		}
		for _, e := range rep.Events {
			eventPart(x, e)
			of := told.about(func(r answer) bool { return r.Event == e.ID })
			told.summary(x, of)
			told.details(x, of)
		}
		planPart(x, rep)
		told.close(x)
	})
}

// stateWords say how far the text can be relied on.
func stateWords(rep report.Report) string {
	reason := clean(rep.StatusReason)
	if reason != "" {
		reason = " Reason: " + reason
	}
	switch rep.Status {
	case report.Draft:
		return "Draft, not signed. Written " + moments(rep.WrittenAt) + "."
	case report.Amended:
		return "Amended " + moments(rep.WrittenAt) + ", revision " + strconv.Itoa(rep.Revision) + "." + reason
	case report.Corrected:
		return "Corrected " + moments(rep.WrittenAt) + ", revision " + strconv.Itoa(rep.Revision) + "." + reason
	case report.Withdrawn:
		return "Withdrawn " + moments(rep.WrittenAt) + ": entered in error. Do not use." + reason
	}
	return "Signed " + moments(rep.SignedAt) + "."
}

// sessionPart tells the session and what was known before it.
func sessionPart(x *xhtml, rep report.Report) {
	s := rep.Session
	rows := []row{
		{"Session", join(label("session-kind", s.Kind), "on "+s.Start.Day(), between(s.Start, s.End))},
		{"Instrument", join(said("endoscope", s.Endoscope), named("distal attachment:", yesNoWords(s.Cap)), said("gas", s.Gas))},
		{"Age", measure(rep.Patient.AgeY, "years")},
	}
	if b := rep.Before; b != nil {
		rows = append(rows, beforeRows(*b)...)
	}
	x.table(rows...)
}

// beforeRows tells what was known and prepared.
func beforeRows(b report.Before) []row {
	rows := []row{
		{"Indication", joinText(b.IndicationText, said("intent", b.Indication))},
		{"Reason for the technique", b.TechniqueReason},
	}
	for _, e := range b.Earlier {
		rows = append(rows, row{"Before this session", joinText(e.Text, said("earlier", e.Kind), string(e.Date))})
	}
	rows = append(rows, row{"Antithrombotics", said("antithrombotic-history", b.AntithromboticHistory)})
	for _, a := range b.Antithrombotics {
		rows = append(rows, row{"Antithrombotic", join(said("drug-class", a.Class), said("management", a.Management),
			named("replaced by", said("drug-class", a.ReplacedBy)), said("bridging", a.Bridging),
			named("last dose", moments(a.LastDose)), named("restart planned", string(a.PlannedRestart)))})
	}
	if b.Sedation != nil {
		rows = append(rows, row{"Sedation", said("sedation-depth", b.Sedation.Depth)})
		for _, d := range b.Sedation.Drugs {
			rows = append(rows, row{"Drug", join(said("sedation-drug", d.Drug), measure(d.DoseMg, "mg"),
				measure(d.DoseUg, "micrograms"), said("route", d.Route))})
		}
	}
	rows = append(rows,
		row{"INR", measure(b.INR, "")}, row{"Risk of stopping drugs", said("risk-level", b.ThromboticRisk)},
		row{"Haemodialysis", yesNoWords(b.Haemodialysis)}, row{"Physical status", said("asa", b.ASAClass)},
		row{"H. pylori", said("h-pylori", b.HPylori)},
		row{"Implant", join(said("implant", b.Implant), said("implant-precaution", b.ImplantPrecaution))},
		row{"Neutral electrode", said("electrode-site", b.NeutralElectrodeSite)},
		row{"Without solid food", measure(b.FastingH, "h")})
	if c := b.Boston; c != nil {
		rows = append(rows, row{"Boston scale", join(named("right", measure(c.Right, "")),
			named("transverse", measure(c.Transverse, "")), named("left", measure(c.Left, "")))})
	}
	return rows
}

// eventPart tells an event, or only that one was retracted: what was entered in
// error is not told again.
func eventPart(x *xhtml, e report.Event) {
	if e.Retracted {
		x.paragraph("An event recorded " + moments(e.RecordedAt) + " was retracted: it was entered in error.")
		return
	}
	x.subheading("Adverse event: " + lowerFirst(label("event-kind", e.Kind)))
	actions := make([]string, len(e.Interventions))
	for i, v := range e.Interventions {
		actions[i] = join(said("intervention", v.Kind), moments(v.At), saidAll("vessel-tool", v.With, ", "))
	}
	x.table(
		row{"When", join(said("event-timing", e.Timing), named("happened", moments(e.OccurredAt)), named("recognised", moments(e.RecognisedAt)))},
		row{"Symptoms", saidAll("symptom", e.Symptoms, ", ")},
		row{"Haemodynamically unstable", yesNoWords(e.Unstable)},
		row{"Haemoglobin", join(named("before", measure(e.HbBeforeGDl, "g/dL")), named("after", measure(e.HbAfterGDl, "g/dL")))},
		row{"Transfusion", join(yesNoWords(e.Transfusion), measure(e.TransfusionUnits, "units"))},
		row{"Signs", join(named("local tenderness:", yesNoWords(e.LocalTenderness)), measure(e.TempC, "°C"),
			named("C-reactive protein", measure(e.CRPMgDl, "mg/dL")), named("white cells", measure(e.WBCPerUl, "per µL")))},
		row{"Done", join(actions...)}, row{"Intervention needed", yesNoWords(e.InterventionNeeded)},
		row{"Session aborted", yesNoWords(e.ProcedureAborted)},
		row{"Hospital", join(said("contact", e.UnplannedContact), named("nights", measure(e.UnplannedNights, "")),
			named("intensive care nights", measure(e.ICUNights, "")), named("unplanned admission", measure(e.AdmissionH, "h")),
			named("longer observation", measure(e.ObservationH, "h")))},
		row{"Drugs", said("drug-treatment", e.Drugs)}, row{"Organ failures", measure(e.OrganFailures, "")},
		row{"Permanent disability", yesNoWords(e.PermanentDisability)},
		row{"Outcome", said("event-outcome", e.Outcome)}, row{"Text", e.Text})
}

// planPart tells what the people who sign have decided.
func planPart(x *xhtml, rep report.Report) {
	p := rep.Plan
	if p == nil {
		return
	}
	x.subheading("Plan")
	var items []string
	of := func(lesion int) string {
		if lesion == 0 {
			return ""
		}
		return "lesion " + strconv.Itoa(lesion)
	}
	for _, f := range p.FollowUps {
		when := string(f.Earliest)
		if f.Latest != "" && f.Latest != f.Earliest {
			when = named("from", when) + " until " + string(f.Latest)
		}
		items = append(items, joinText(f.Reason, label("follow-up", f.Kind), of(f.Lesion), when))
	}
	items = append(items, pyloriPlan(p.HPylori))
	for _, r := range p.Referrals {
		items = append(items, joinText(r.Reason, label("referral", r.To), of(r.Lesion)))
	}
	for _, r := range p.AntithromboticPlan {
		items = append(items, joinText(r.Text, "Restart of "+lowerFirst(label("drug-class", r.Class)), string(r.On)))
	}
	x.list(append(items, p.Text)...)
}

// pyloriPlan is the plan about Helicobacter pylori, as a sentence of its own.
func pyloriPlan(p report.HPyloriPlan) string {
	switch report.AbsenceOf(p) {
	case report.NotApplicable:
		return "Helicobacter pylori: nothing to plan here"
	case "":
		return label("h-pylori-plan", p)
	}
	return "Helicobacter pylori: what is planned is " + absenceWords[report.AbsenceOf(p)]
}

// sessionNarrative is the short text of the session's Procedure.
func (m *mapper) sessionNarrative() string {
	s := m.rep.Session
	resected := 0
	for _, l := range m.rep.Lesions {
		if l.Resection != nil {
			resected++
		}
	}
	return page(func(x *xhtml) {
		x.paragraph(label("session-kind", s.Kind))
		x.table(row{"Start", moments(s.Start)}, row{"End", moments(s.End)},
			row{"Lesions", count(len(m.rep.Lesions), "lesion", "lesions") + ", resected: " + strconv.Itoa(resected)})
	})
}

// resectionNarrative is the short text of a resection's Procedure.
func (m *mapper) resectionNarrative(l report.Lesion) string {
	r := l.Resection
	start, end := m.resectionTime(l)
	return page(func(x *xhtml) {
		x.paragraph(label("technique", r.Technique) + ", lesion " + strconv.Itoa(l.Number))
		x.table(row{"Place", join(placeWords(l.Examination)...)}, row{"Time", start + " to " + end},
			row{"Pieces", measure(r.Pieces, "")}, row{"Completion", said("completion", r.Completion)})
	})
}

// childNarrative is the short text of a child Procedure.
func childNarrative(c model.CodeableConcept, l report.Lesion, start, end report.Time) string {
	name := ""
	if len(c.Coding) > 0 && c.Coding[0].Display != nil {
		name = *c.Coding[0].Display
	}
	return page(func(x *xhtml) {
		x.paragraph(name + ", lesion " + strconv.Itoa(l.Number))
		x.table(row{"Time", between(start, end)})
	})
}

// simpleNarrative is a name and a time.
func simpleNarrative(name string, at report.Time) string {
	return page(func(x *xhtml) {
		x.paragraph(name)
		x.table(row{"Time", moments(at)})
	})
}
