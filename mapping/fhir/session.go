package fhir

import (
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// devices maps what serves many cases: each generator by its asset identifier,
// the software by its version.
func (m *mapper) devices() {
	kind := m.own("device", "mapping-software")
	m.emit(partReport, m.softwareRole(), &model.Device{Type: &kind,
		DeviceName: []model.DeviceName{model.NamedByUser("enbloc")},
		Version:    []model.DeviceVersion{{Value: orUnversioned(m.opt.SoftwareVersion)}},
	}, model.Status(active), nil)
	done := map[string]bool{}
	for _, i := range m.numbers {
		if r := m.rep.Lesions[i].Resection; r != nil {
			for _, s := range r.Settings {
				m.generator(s.Generator, done)
			}
		}
	}
}

func (m *mapper) softwareRole() string {
	return roleSoftware + clean(orUnversioned(m.opt.SoftwareVersion))
}

// generatorRole stands for a generator over all cases of a site.
func (m *mapper) generatorRole(id report.Identifier) string {
	shared := m.ids.keyer.key("", recipe+"|"+escapePart.Replace(m.opt.Tenant)+"|generator|"+
		escapePart.Replace(id.System)+"|"+escapePart.Replace(id.Value))
	return sharedPrefix + "generator/" + shared[:12]
}

// generator maps a generator once, by its asset identifier.
func (m *mapper) generator(id *report.Identifier, done map[string]bool) {
	if id == nil || id.Zero() {
		return
	}
	role := m.generatorRole(*id)
	if done[role] {
		return
	}
	done[role] = true
	kind := m.own("device", "electrosurgical-generator")
	m.emit(partReport, role, &model.Device{Type: &kind, Identifier: []model.Identifier{*identifier(*id)}},
		model.Status(active), nil)
}

// session maps the endoscopy itself, which exists even if nothing is resected.
func (m *mapper) session() {
	s := m.rep.Session
	code := m.own("session-kind", string(s.Kind))
	p := &model.Procedure{
		Text: model.Generated(m.sessionNarrative()), BasedOn: m.order, Code: &code,
		Subject: m.subject, Encounter: m.encounter,
		PerformedPeriod: model.NewPeriod(s.Start.Text(), s.End.Text()),
		Performer:       m.operators(),
		Report:          model.Refs(m.ref(roleEndoscopyReport)),
	}
	if m.rep.Facility != nil && !m.rep.Facility.Zero() {
		location := logical("Location", *m.rep.Facility, "")
		p.Location = &location
	}
	for _, i := range m.numbers {
		p.ReasonReference = append(p.ReasonReference, model.Ref(m.ref(lesionRole(m.rep.Lesions[i])+"/condition")))
	}
	if s.Endoscope != "" {
		p.UsedCode = []model.CodeableConcept{m.own("endoscope", string(s.Endoscope))}
	}
	p.ComplicationDetail = m.complications(0)
	if b := m.rep.Before; b != nil {
		p.Note = annotations(b.TechniqueReason)
	}
	m.emit(partReport, roleSession, p, model.Status(completed), nil)
}

// operators are the people at the endoscope with what they did.
func (m *mapper) operators() []model.ProcedurePerformer {
	var out []model.ProcedurePerformer
	for _, o := range m.rep.Operators {
		if actor := practitioner(&o.Identifier); actor != nil {
			function := m.own("operator-role", string(o.Role))
			out = append(out, model.ProcedurePerformer{Actor: *actor, Function: &function})
		}
	}
	if len(out) == 0 && m.endoscopist != nil {
		out = []model.ProcedurePerformer{{Actor: *m.endoscopist}}
	}
	return out
}

// leadOnly are the people of a child Procedure, where the report names none.
func (m *mapper) leadOnly() []model.ProcedurePerformer {
	if m.endoscopist == nil {
		return nil
	}
	return []model.ProcedurePerformer{{Actor: *m.endoscopist}}
}
