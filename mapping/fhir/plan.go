package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// plan maps what is to follow. It is what the people who sign have decided, so
// the intent is a plan; nothing here orders anything.
func (m *mapper) plan() {
	p := m.rep.Plan
	if p == nil {
		return
	}
	for i, f := range p.FollowUps {
		code := m.followUpCode(f)
		r := m.request(code, f.Lesion, f.Reason)
		r.OccurrencePeriod = model.NewPeriod(string(f.Earliest), string(f.Latest))
		m.emitRequest("plan/follow-up/"+strconv.Itoa(i+1), r)
	}
	for i, f := range p.Referrals {
		m.emitRequest("plan/referral/"+strconv.Itoa(i+1), m.request(m.own("referral", string(f.To)), f.Lesion, f.Reason))
	}
	if report.Known(p.HPylori) && p.HPylori != report.HPyloriNothing {
		m.emitRequest("plan/h-pylori", m.request(m.own("h-pylori-plan", string(p.HPylori)), 0, ""))
	}
}

// followUpCode names the endoscopy of the organ where the lesion is known.
func (m *mapper) followUpCode(f report.FollowUp) model.CodeableConcept {
	at := m.lesionNumbered(f.Lesion)
	if f.Kind != report.FollowUpEndoscopy || at < 0 {
		return m.own("follow-up", string(f.Kind))
	}
	kind := report.UpperEndoscopy
	if m.rep.Lesions[at].Examination.Organ.Colorectal() {
		kind = report.Colonoscopy
	}
	return m.ownText("session-kind", string(kind), label("follow-up", f.Kind))
}

// request is a ServiceRequest for a lesion, or for the patient when none is named.
func (m *mapper) request(code model.CodeableConcept, lesion int, reason string) *model.ServiceRequest {
	r := &model.ServiceRequest{Code: &code, Subject: m.subject, Encounter: m.encounter,
		AuthoredOn: model.Str(m.issued), Requester: m.signer, Note: annotations(reason),
		SupportingInfo: model.Refs(m.ref(roleEndoscopyReport))}
	if at := m.lesionNumbered(lesion); at >= 0 {
		r.ReasonReference = model.Refs(m.ref(lesionRole(m.rep.Lesions[at]) + "/condition"))
	}
	return r
}

func (m *mapper) emitRequest(role string, r *model.ServiceRequest) {
	m.emit(partReport, role, r, model.Codes{Status: m.state.ServiceRequest, Intent: "plan"}, nil)
}
