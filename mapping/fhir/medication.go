package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// sedation maps the drugs of the session.
func (m *mapper) sedation(s *report.Sedation) {
	for i, d := range s.Drugs {
		drug := m.own("sedation-drug", string(d.Drug))
		amount := m.number(d.DoseMg, milligram).quantity
		if amount == nil {
			amount = m.number(d.DoseUg, microgram).quantity
		}
		m.administer("sedation/"+strconv.Itoa(i+1), administration{
			drug: drug, route: string(d.Route), dose: amount, at: d.GivenAt, during: roleSession,
			from: m.rep.Session.Start.Text(), to: m.rep.Session.End.Text(),
		})
	}
}

// administration is one drug given.
type administration struct {
	drug     model.CodeableConcept
	route    string
	dose     *model.Quantity
	at       report.Time
	during   string // role of the Procedure
	from, to string // when the time is not known: given between these
}

// administer writes a MedicationAdministration. R4 wants a dose in every
// dosage (mad-1), so without one there is no dosage at all.
func (m *mapper) administer(role string, a administration) {
	r := &model.MedicationAdministration{
		MedicationCodeableConcept: &a.drug, Subject: &m.subject, Context: m.encounter,
		PartOf: model.Refs(m.ref(a.during)),
	}
	if a.at.IsZero() {
		r.EffectivePeriod = model.NewPeriod(a.from, a.to)
	} else {
		r.EffectiveDateTime = model.Str(a.at.Text())
	}
	if m.endoscopist != nil {
		r.Performer = []model.MedicationPerformer{{Actor: *m.endoscopist}}
	}
	if a.dose != nil {
		r.Dosage = &model.MedicationDosage{Dose: a.dose}
		if a.route != "" {
			route := m.own("route", a.route)
			r.Dosage.Route = &route
		}
	}
	m.emit(partReport, role, r, model.Status(completed), nil)
}
