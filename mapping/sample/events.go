package sample

import (
	"time"

	"enbloc/mapping/report"
)

var (
	otherEvents = []report.EventKind{
		report.EventStricture, report.EventCoagulation, report.EventAspiration, report.EventInfection, report.EventCardiorespir,
		report.EventSedation, report.EventThrombosis, report.EventEmphysema, report.EventDeath, report.EventOther,
	}
	otherShare = []float64{0.25, 0.3, 0.1, 0.08, 0.08, 0.1, 0.03, 0.03, 0.005, 0.025}
	symptoms   = map[report.EventKind][]report.Symptom{
		report.EventBleeding:    {report.Melaena, report.Haematemesis, report.Haematochezia, report.Syncope},
		report.EventStricture:   {report.Dysphagia},
		report.EventCoagulation: {report.Pain, report.Fever},
	}
	anySymptom = []report.Symptom{report.Pain, report.Fever}
)

// addEvents writes what went wrong: a hole is in the report, what comes later
// arrives as a part.
func (s *session) addEvents() {
	var later []report.Event
	for _, c := range s.courses {
		if c.perforated {
			s.rep.Events = append(s.rep.Events, s.perforation(c))
		}
		if c.bleedsLater {
			later = append(later, s.event(c.number, report.EventBleeding))
		}
	}
	if s.rare("other event", 0.04) {
		later = append(later, s.event(s.eventLesion(), pick(s.dice, "other event/kind", otherEvents, otherShare...)))
	}
	if len(later) == 0 || s.rep.Status == report.Draft {
		return
	}
	if s.rare("events in the report", 0.05) {
		s.rep.Events = append(s.rep.Events, later...)
		for _, e := range later {
			s.signLater(e.RecordedAt)
		}
		return
	}
	last := later[0].RecordedAt
	for _, e := range later {
		if e.RecordedAt.At().After(last.At()) {
			last = e.RecordedAt
		}
	}
	s.events = append(s.events, report.EventsPart{
		Part: s.part(report.SchemaEvents, "ward", "-EVENTS", stamp(last.At().Add(10*time.Minute))), Events: later,
	})
}

// eventLesion is a lesion that was resected, or 0 for none in particular.
func (s *session) eventLesion() int {
	for _, c := range s.courses {
		if !c.left && s.has("event lesion") {
			return c.number
		}
	}
	return 0
}

// perforation during the session, closed at once.
func (s *session) perforation(c course) report.Event {
	at := s.clock.Add(-minutes(3))
	e := report.Event{
		ID: "HTEST-" + s.name + "-HOLE-" + string(rune('0'+c.number)), Lesion: c.number,
		Kind: report.EventPerforation, Timing: report.DuringSession,
		OccurredAt: stamp(at), RecordedAt: stamp(s.end.Add(minutes(20))),
		ProcedureAborted: said(s.dice, "aborted", yesIf(c.ended == report.CompletionAbandoned)),
	}
	e.Interventions = []report.Intervention{{Kind: report.InterveneClosure, At: s.optionalTime("closed at", at), With: []report.VesselTool{report.ToolClip}}}
	e.InterventionNeeded = said(s.dice, "needed", report.Yes)
	s.stay(&e)
	return e
}

// event that becomes known days later.
func (s *session) event(lesion int, kind report.EventKind) report.Event {
	occurred := s.end.Add(time.Duration(s.whole(5, 14*24)) * time.Hour)
	recognised := occurred.Add(time.Duration(s.whole(0, 20)) * time.Hour)
	e := report.Event{
		ID:     "HTEST-" + s.name + "-" + string(kind) + "-" + string(rune('0'+lesion)),
		Lesion: lesion, Kind: kind, Timing: report.AfterSession,
		OccurredAt:   s.optionalTime("occurred", occurred),
		RecognisedAt: s.optionalTime("recognised", recognised),
		RecordedAt:   stamp(recognised.Add(time.Duration(s.whole(1, 200)) * time.Hour)),
		Retracted:    s.rare("retracted", 0.01),
		Unstable:     s.answer("unstable", 0.15), EmergencyEndoscopy: s.answer("emergency", 0.5),
		Text: s.text("event text", "Seen by the team on call."),
	}
	if s.has("symptoms") {
		list, known := symptoms[kind]
		if !known {
			list = anySymptom
		}
		e.Symptoms = some(s.dice, "symptom/"+string(kind), list, 1, min(2, len(list)))
	}
	s.blood(&e)
	if kind == report.EventCoagulation || kind == report.EventInfection || kind == report.EventAspiration {
		s.inflammation(&e)
	}
	s.interventions(&e)
	s.stay(&e)
	return e
}

// blood writes haemoglobin and transfusion.
func (s *session) blood(e *report.Event) {
	before := 11 + 4*s.rng.Float64()
	fall := 0.2 + 0.5*s.rng.Float64()
	if e.Kind == report.EventBleeding {
		fall = 0.5 + 4*s.rng.Float64()
	}
	e.HbBeforeGDl = s.number("hb before", before, 1)
	e.HbAfterGDl = s.number("hb after", before-fall, 1)
	transfused := 0.0
	if e.Kind == report.EventBleeding {
		transfused = 0.25
	}
	e.Transfusion = s.answer("transfusion", transfused)
	if e.Transfusion == report.Yes {
		e.TransfusionUnits = s.number("units", float64(s.whole(1, 4)), 0)
	}
}

func (s *session) inflammation(e *report.Event) {
	e.LocalTenderness = s.answer("tenderness", 0.9)
	e.TempC = s.number("temperature", 37.3+1.6*s.rng.Float64(), 1)
	e.CRPMgDl = s.number("crp", 0.6+9*s.rng.Float64(), 1)
	e.WBCPerUl = s.number("wbc", float64(s.whole(80, 190)*100), 0)
}

// usualIntervention of each kind of event; others need none or anything.
var (
	usualIntervention = map[report.EventKind]report.InterventionKind{
		report.EventBleeding: report.InterveneHaemostasis, report.EventStricture: report.InterveneDilation,
		report.EventPerforation: report.InterveneClosure,
	}
	interventionKinds = []report.InterventionKind{
		report.InterveneEndoscopy, report.InterveneRadiology, report.InterveneDrainage, report.InterveneSurgery, report.InterveneVentilation,
		report.InterveneHaemostasis, report.InterveneClosure, report.InterveneDilation,
	}
)

func (s *session) interventions(e *report.Event) {
	needed := 0.3
	usual, common := usualIntervention[e.Kind]
	if common {
		needed = 0.85
	}
	if e.InterventionNeeded = s.answer("needed later", needed); e.Kind == report.EventDeath {
		e.InterventionNeeded = report.Yes // somebody tried
	}
	if e.InterventionNeeded != report.Yes {
		return
	}
	kind := usual
	if !common || s.rare("unusual intervention", 0.1) {
		kind = pick(s.dice, "intervention", interventionKinds)
	}
	step := report.Intervention{Kind: kind, At: s.optionalTime("intervention at", e.RecordedAt.At().Add(-30*time.Minute))}
	if e.Kind == report.EventDeath {
		step.At = stamp(e.RecordedAt.At().Add(-30 * time.Minute)) // written down to the minute
	}
	if kind == report.InterveneHaemostasis && s.has("intervention with") {
		step.With = some(s.dice, "intervention tool", vesselTools, 1, 2)
	}
	e.Interventions = append(e.Interventions, step)
	if s.rare("second intervention", 0.1) {
		e.Interventions = append(e.Interventions, report.Intervention{
			Kind: pick(s.dice, "second intervention", without(interventionKinds, kind)), At: step.At})
	}
}

var (
	contacts     = []report.Contact{report.ContactNone, report.ContactPhone, report.ContactClinic, report.ContactEmergency}
	drugCourses  = []report.DrugTreatment{report.DrugsNone, report.DrugsSupportive, report.DrugsOther}
	outcomes     = []report.EventOutcome{report.OutcomeResolved, report.OutcomeRecovering, report.OutcomeOngoing, report.OutcomeSequelae}
	outcomeShare = []float64{0.85, 0.08, 0.04, 0.03}
)

// stay writes what the event cost the patient.
func (s *session) stay(e *report.Event) {
	e.UnplannedContact = one(s.dice, "contact", contacts, 0.3, 0.1, 0.2, 0.4)
	e.Drugs = one(s.dice, "drugs", drugCourses, 0.3, 0.3, 0.4)
	nights := s.whole(0, 7)
	icu := 0
	if s.rare("icu", 0.04) {
		icu = s.whole(0, nights)
	}
	e.UnplannedNights = s.number("nights", float64(nights), 0)
	e.ICUNights = s.number("icu nights", float64(icu), 0)
	if nights == 0 {
		e.ObservationH = s.number("observation", float64(s.whole(0, 12)), 0)
	} else {
		e.AdmissionH = s.number("admission", float64(nights*24-s.whole(0, 8)), 0)
	}
	failures := 0
	if icu > 0 {
		failures = s.whole(0, 2)
	}
	e.OrganFailures = s.number("organ failures", float64(failures), 0)
	e.PermanentDisability = s.answer("disability", 0.005)
	e.Outcome = one(s.dice, "event outcome", outcomes, outcomeShare...)
	if e.Kind == report.EventDeath {
		e.Outcome = report.OutcomeFatal
	}
}
