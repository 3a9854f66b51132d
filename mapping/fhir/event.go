package fhir

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// eventRole stands for an event. The sender's id is hashed: it may be a number
// that means something outside.
func (m *mapper) eventRole(e report.Event) string { return "event/" + m.ids.opaque("event", e.ID) }

// events maps what went wrong, in the order of time.
func (m *mapper) events() {
	for _, i := range m.eventOrder() {
		e := m.rep.Events[i]
		role := m.eventRole(e)
		if e.Retracted {
			m.retracted[role] = true
		}
		m.eventCondition(e, role)
		m.eventFacts(e, role, "/events/"+strconv.Itoa(i))
		m.interventions(e, role)
		m.adverseEvent(e, role)
	}
}

// eventOrder is the order of time, so that the order of arrival leaves no trace.
func (m *mapper) eventOrder() []int {
	order := make([]int, len(m.rep.Events))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := m.rep.Events[a], m.rep.Events[b]
		return cmp.Or(x.When().At().Compare(y.When().At()), cmp.Compare(x.ID, y.ID))
	})
	return order
}

// eventEncounter is the encounter of the session, for what happened in it. A
// later event belongs to an encounter that the report does not name.
func (m *mapper) eventEncounter(e report.Event) *model.Reference {
	if e.Timing == report.DuringSession {
		return m.encounter
	}
	return nil
}

// hasEventCondition: a death is an outcome, not a condition.
func hasEventCondition(e report.Event) bool { return e.Kind != report.EventDeath }

// eventCondition mirrors the event as a problem of the patient, which has the
// status that an AdverseEvent lacks.
func (m *mapper) eventCondition(e report.Event, role string) {
	if !hasEventCondition(e) {
		return
	}
	code := m.own("event-kind", string(e.Kind))
	verified := m.standard("hl7.condition-ver-status.confirmed", "")
	c := &model.Condition{
		VerificationStatus: &verified, Code: &code, Subject: m.subject, Encounter: m.eventEncounter(e),
		Category:      []model.CodeableConcept{m.standard("hl7.condition-category.encounter-diagnosis", "")},
		OnsetDateTime: model.Str(e.OccurredAt.Text()), RecordedDate: model.Str(e.RecordedAt.Text()),
		Recorder: m.signer, Evidence: []model.ConditionEvidence{{Detail: model.Refs(m.ref(role + "/facts"))}},
	}
	switch e.Outcome {
	case report.OutcomeResolved, report.OutcomeSequelae:
		status := m.standard("hl7.condition-clinical.resolved", "")
		c.ClinicalStatus = &status
	case report.OutcomeOngoing, report.OutcomeRecovering:
		status := m.standard("hl7.condition-clinical.active", "")
		c.ClinicalStatus = &status
	}
	if at := m.lesionNumbered(e.Lesion); at >= 0 {
		c.BodySite = []model.CodeableConcept{m.place(m.rep.Lesions[at])}
	}
	m.emit(role, role+"/condition", c, model.Codes{}, nil)
}

// eventFacts maps the facts of an event as coordinates of one Observation:
// they have no life of their own apart from the event.
func (m *mapper) eventFacts(e report.Event, role, at string) {
	p := m.newPanel(role, role, at, m.ref(roleSession), e.When().Text())
	p.base.Encounter = m.eventEncounter(e)
	p.base.Issued = model.Str(e.RecordedAt.Text())
	p.base.Focus = model.Refs(m.ref(role + "/adverse-event"))
	p.status = m.eventStatus()
	o := p.base
	o.Code = m.own("panel", "adverse-event-panel")
	if e.Timing == report.AfterSession {
		o.PartOf = nil
	}
	coded(m, "event-kind", e.Kind).say(&o)
	m.component(&o, "event-timing-component", coded(m, "event-timing", e.Timing))
	if days, ok := m.onsetDay(e); ok {
		m.component(&o, "onset-day", m.number(report.Int(days), day))
	}
	m.eventComponents(&o, e)
	o.Note = annotations(e.Text)
	m.where.cover(role+"/facts", at)
	m.emit(role, role+"/facts", &o, model.Status(p.status), nil)
}

// eventStatus: an event is a part of its own; a draft of the report does not
// make it preliminary, an amendment of the report does not amend it.
func (m *mapper) eventStatus() string {
	if m.rep.Status == report.Draft {
		return preliminary
	}
	return final
}

// eventComponents writes every fact of the event that was reported, absences
// included.
func (m *mapper) eventComponents(o *model.Observation, e report.Event) {
	add := func(name string, v value) { m.componentOf(o, m.own("event-fact", name), v) }
	for _, s := range e.Symptoms {
		add("event-symptoms", coded(m, "symptom", s))
	}
	add("event-unstable", m.answer(e.Unstable))
	add("event-emergency-endoscopy", m.answer(e.EmergencyEndoscopy))
	add("event-hb-before", m.number(e.HbBeforeGDl, gramPerDl))
	add("event-hb-after", m.number(e.HbAfterGDl, gramPerDl))
	add("event-transfusion", m.answer(e.Transfusion))
	add("event-transfusion-units", m.number(e.TransfusionUnits, bloodUnits))
	add("event-tenderness", m.answer(e.LocalTenderness))
	add("event-temperature", m.number(e.TempC, celsius))
	add("event-crp", m.number(e.CRPMgDl, milligramDl))
	add("event-wbc", m.number(e.WBCPerUl, perMicrol))
	for _, i := range e.Interventions {
		add("event-interventions", coded(m, "intervention", i.Kind))
	}
	add("event-intervention-needed", m.answer(e.InterventionNeeded))
	add("event-aborted", m.answer(e.ProcedureAborted))
	add("event-contact", coded(m, "contact", e.UnplannedContact))
	add("event-drugs", coded(m, "drug-treatment", e.Drugs))
	add("event-observation-time", m.number(e.ObservationH, hour))
	add("event-admission-time", m.number(e.AdmissionH, hour))
	add("event-nights", m.number(e.UnplannedNights, nights))
	add("event-icu-nights", m.number(e.ICUNights, nights))
	add("event-organ-failures", m.number(e.OrganFailures, unity))
	add("event-disability", m.answer(e.PermanentDisability))
	add("event-outcome-status", coded(m, "event-outcome", e.Outcome))
}

// onsetDay counts calendar days from the day of the session to the event, in
// the zones in which the two were written; day 0 is the day of the session.
func (m *mapper) onsetDay(e report.Event) (int, bool) {
	from, err1 := time.Parse(time.DateOnly, m.rep.Session.End.Day())
	to, err2 := time.Parse(time.DateOnly, e.OccurredAt.Day())
	if err1 != nil || err2 != nil {
		return 0, false
	}
	return int(to.Sub(from).Hours() / 24), true
}

// interventions maps what an event needed, each as a Procedure.
func (m *mapper) interventions(e report.Event, role string) {
	for i, v := range e.Interventions {
		code := m.own("intervention", string(v.Kind))
		p := &model.Procedure{
			Text: model.Generated(simpleNarrative(label("intervention", v.Kind), v.At)), Code: &code,
			Subject: m.subject, Encounter: m.eventEncounter(e), PerformedDateTime: model.Str(v.At.Text()),
		}
		if hasEventCondition(e) {
			p.ReasonReference = model.Refs(m.ref(role + "/condition"))
		}
		for _, t := range v.With {
			if used, ok := m.toolUsed(t); ok {
				p.UsedCode = append(p.UsedCode, used)
			}
		}
		var extras model.Extras
		if v.At.IsZero() {
			extras = model.Extras{"_performedDateTime": model.UnknownTime}
		}
		m.emit(role, role+"/intervention/"+strconv.Itoa(i+1), p, model.Status(completed), extras)
	}
}

// adverseEvent maps the event itself. Its cause is the procedure under
// suspicion; how sure that is nobody said, so there is no causality.
func (m *mapper) adverseEvent(e report.Event, role string) {
	kind := m.ownText("event-kind", string(e.Kind), label("event-kind", e.Kind))
	a := &model.AdverseEvent{
		Event: &kind, Subject: m.subject, Encounter: m.eventEncounter(e), Date: model.Str(e.OccurredAt.Text()),
		Detected: model.Str(e.RecognisedAt.Text()), RecordedDate: model.Str(e.RecordedAt.Text()), Recorder: m.signer,
		SuspectEntity: []model.SuspectEntity{{Instance: model.Ref(m.suspect(e))}},
		Seriousness:   m.seriousness(e), Severity: m.severity(e), Outcome: m.eventOutcome(e),
	}
	if hasEventCondition(e) {
		a.ResultingCondition = model.Refs(m.ref(role + "/condition"))
	}
	m.emit(role, role+"/adverse-event", a, model.Codes{Actuality: "actual"}, nil)
}

// suspect is the Procedure that the event is held to come from.
func (m *mapper) suspect(e report.Event) string {
	if at := m.lesionNumbered(e.Lesion); at >= 0 {
		return m.performedIn(m.rep.Lesions[at])
	}
	return m.ref(roleSession)
}

// seriousness is set only by a fact that settles it; R4's "non-serious" would
// turn what is not known into a negative.
func (m *mapper) seriousness(e report.Event) *model.CodeableConcept {
	known := func(n report.Number) bool { v, ok := n.Value(); return ok && v > 0 }
	var c model.CodeableConcept
	switch {
	case e.Outcome == report.OutcomeFatal || e.Kind == report.EventDeath:
		c = m.standard("hl7.adverse-event-seriousness.SeriousResultsInDeath", "")
	case known(e.UnplannedNights) || known(e.ICUNights) || known(e.AdmissionH):
		c = m.standard("hl7.adverse-event-seriousness.SeriousResultsInHospitalization", "")
	default:
		return nil
	}
	return &c
}

// severity repeats what the lexicon of severity answered for the event: R4
// binds the element to mild, moderate and severe.
func (m *mapper) severity(e report.Event) *model.CodeableConcept {
	for _, r := range m.results {
		if r.Event != e.ID || !strings.Contains(r.Rule, ".asge") {
			continue
		}
		switch r.Answer {
		case "mild", "moderate", "severe":
			c := m.standard("hl7.adverse-event-severity."+r.Answer, "")
			return &c
		}
	}
	return nil
}

// eventOutcome is the outcome in the codes of R4, which also know "unknown".
func (m *mapper) eventOutcome(e report.Event) *model.CodeableConcept {
	keys := map[report.EventOutcome]string{report.OutcomeResolved: "resolved", report.OutcomeRecovering: "recovering",
		report.OutcomeOngoing: "ongoing", report.OutcomeSequelae: "resolvedWithSequelae", report.OutcomeFatal: "fatal",
		report.EventOutcome(report.Unknown): "unknown"}
	key, ok := keys[e.Outcome]
	if !ok {
		return nil
	}
	c := m.standard("hl7.adverse-event-outcome."+key, "")
	return &c
}

// complications are the conditions that events of a lesion led to; number 0
// collects those of no lesion, or of one that was not resected.
func (m *mapper) complications(number int) []model.Reference {
	var out []model.Reference
	for _, i := range m.eventOrder() {
		e := m.rep.Events[i]
		of := e.Lesion
		if at := m.lesionNumbered(of); at < 0 || m.rep.Lesions[at].Resection == nil {
			of = 0
		}
		if of == number && hasEventCondition(e) && !e.Retracted {
			out = append(out, model.Ref(m.ref(m.eventRole(e)+"/condition")))
		}
	}
	return out
}
