package assess

import (
	"math"
	"strconv"

	"enbloc/mapping/report"
)

// eventFacts are the criteria by which the severity of an event is graded.
type eventFacts struct {
	death, surgery, endoscopic, ventilation, disability, transfusion, aborted *finding
	visit, emergency, drugs, supportive                                       *finding
	nights, icu, organs, hours, observation                                   *finding
}

func gatherEvent(k *look) eventFacts {
	e := k.event
	f := eventFacts{
		death: k.fatal(), surgery: k.intervention("surgery", report.InterveneSurgery),
		endoscopic: k.intervention("endoscopic or radiological intervention", report.InterveneHaemostasis, report.InterveneClosure,
			report.InterveneDilation, report.InterveneEndoscopy, report.InterveneRadiology, report.InterveneDrainage),
		ventilation: k.intervention("ventilatory support", report.InterveneVentilation),
		disability:  k.disabled(),
		transfusion: k.transfused(),
		aborted:     k.aborted(),
		nights:      k.number("/unplanned_nights", "unplanned nights", "", e.UnplannedNights),
		icu:         k.number("/icu_nights", "nights in intensive care", "", e.ICUNights),
		organs:      k.number("/organ_failures", "organ failures", "", e.OrganFailures),
		hours:       k.number("/admission_h", "length of stay", "h", e.AdmissionH),
		observation: k.number("/extended_observation_h", "longer observation", "h", e.ObservationH),
	}
	contact := why(report.AbsenceOf(e.UnplannedContact))
	f.visit = k.sign("/unplanned_contact", "unplanned contact", unknown, contact, "a consultation", "none")
	f.emergency = k.sign("/unplanned_contact", "unplanned contact", unknown, contact, "an emergency visit", "another one or none")
	if report.Known(e.UnplannedContact) {
		f.visit.sign = truthOf(oneOf(e.UnplannedContact, report.ContactClinic, report.ContactEmergency))
		f.emergency.sign = truthOf(e.UnplannedContact == report.ContactEmergency)
	}
	given := why(report.AbsenceOf(e.Drugs))
	f.drugs = k.sign("/drug_treatment", "drug treatment", unknown, given, "beyond supportive", "supportive at most")
	f.supportive = k.sign("/drug_treatment", "drug treatment", unknown, given, "supportive", "none")
	if report.Known(e.Drugs) {
		f.drugs.sign = truthOf(e.Drugs == report.DrugsOther)
		f.supportive.sign = truthOf(e.Drugs != report.DrugsNone)
	}
	f.ruleOut(k)
	return f
}

// ruleOut settles what the other fields of the event exclude: the record need
// not say twice that nothing happened. It never overrules what is stated.
func (f eventFacts) ruleOut(k *look) {
	noContact := k.event.Timing == report.AfterSession && oneOf(k.event.UnplannedContact, report.ContactNone, report.ContactPhone)
	treated := k.event.InterventionNeeded != report.No || f.drugs.sign != no
	switch {
	case f.icu.known():
	case f.nights.hi == 0 && !treated:
		f.icu.none("/unplanned_nights") // neither a night more, nor an intervention, nor drugs: no intensive care
	}
	if !f.organs.known() && f.icu.hi == 0 {
		f.organs.none(f.icu.path) // the scale counts organ failure that needs intensive care
	}
	switch {
	case f.hours.known():
	case noContact && f.nights.hi == 0:
		f.hours.none("/unplanned_nights")
	case f.nights.hi == 0:
		// 24 h and more take in a night.
		f.hours.path, f.hours.lack = "/unplanned_nights", f.hours.path
		f.hours.lo, f.hours.hi = 0, math.Nextafter(24, 0)
	}
	if !f.observation.known() && noContact && f.hours.hi == 0 {
		f.observation.none("/unplanned_contact")
	}
}

// none settles a figure at zero by what another field says.
func (f *finding) none(by string) { f.path, f.lack, f.lo, f.hi = by, "", 0, 0 }

// disabled is whether a disability stays. "Resolved" says that none does:
// there is another word for an event that left sequelae.
func (k *look) disabled() *finding {
	f := k.answer("/permanent_disability", "permanent disability", k.event.PermanentDisability)
	if !f.known() && k.event.Outcome == report.OutcomeResolved {
		f.path, f.sign = "/outcome", no
	}
	return f
}

// aborted is whether the event ended the session early: one that came after
// the session did not.
func (k *look) aborted() *finding {
	f := k.answer("/procedure_aborted", "abandoning of the procedure", k.event.ProcedureAborted)
	if !f.known() && k.event.Timing == report.AfterSession {
		f.path, f.sign = "/timing", no
	}
	return f
}

// fatal is whether the patient died of the event.
func (k *look) fatal() *finding {
	e := k.event
	f := k.sign("/outcome", "outcome", unknown, why(report.AbsenceOf(e.Outcome)), "fatal", "survived")
	if e.Kind == report.EventDeath {
		f.path, f.sign = "/kind", yes
	} else if report.Known(e.Outcome) {
		f.sign = truthOf(e.Outcome == report.OutcomeFatal)
	}
	return f
}

func (k *look) transfused() *finding {
	e := k.event
	f := k.answer("/transfusion", "transfusion", e.Transfusion)
	if units, ok := e.TransfusionUnits.Value(); ok && !f.known() {
		f.path, f.sign = "/transfusion_units", truthOf(units > 0)
	}
	return f
}

// intervention is whether the event needed a later measure of the given kinds.
// A list that names some is taken for the whole list. What was done in the
// session that the event happened in is no second intervention; where the time
// of such a measure is missing, that is unknown.
func (k *look) intervention(name string, kinds ...report.InterventionKind) *finding {
	e := k.event
	f := k.sign("/interventions", name, unknown, "not reported", "needed", "not needed")
	if e.InterventionNeeded == report.No {
		f.path, f.sign = "/intervention_needed", no
		return f
	}
	if len(e.Interventions) == 0 {
		return f
	}
	f.sign = no
	for i, in := range e.Interventions {
		if !oneOf(in.Kind, kinds...) {
			continue
		}
		switch k.later(in) {
		case yes:
			f.path, f.sign = "/interventions/"+strconv.Itoa(i)+"/kind", yes
			return f
		case unknown:
			f.lack, f.sign = "/interventions/"+strconv.Itoa(i)+"/at", unknown
			f.why = "has no time, so that it may have been part of the session"
		}
	}
	return f
}

// sameSession warns that a measure of the same session is not counted.
func sameSession(k *look) string {
	for _, in := range k.event.Interventions {
		if k.later(in) == no && oneOf(in.Kind, report.InterveneClosure, report.InterveneHaemostasis, report.InterveneDilation) {
			return "What was closed or stopped at endoscopy in the same session is not counted as a further intervention: " +
				"the tables as read do not say whether it should be. Counted, AGREE gives at least grade IIIa and ASGE at least moderate."
		}
	}
	return ""
}

// later is whether an intervention was made after the session.
func (k *look) later(in report.Intervention) truth {
	switch {
	case k.event.Timing != report.DuringSession || in.Kind == report.InterveneSurgery || in.Kind == report.InterveneRadiology:
		return yes
	case in.At.IsZero() || k.rep.Session.End.IsZero():
		return unknown
	}
	return truthOf(in.At.At().After(k.rep.Session.End.At()))
}
