package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// hasSpecimen reports whether tissue of a lesion went to the laboratory. The
// pathologist's word counts for more than a specimen that was noted as lost.
func (m *mapper) hasSpecimen(l report.Lesion) bool {
	return l.Histology != nil || l.Specimen != nil && l.Specimen.Retrieved != report.No
}

// specimens maps what was handed to the laboratory from one lesion: the whole
// and, when it left the room in several containers, one part for each.
func (m *mapper) specimens(l report.Lesion) {
	if !m.hasSpecimen(l) {
		return
	}
	role := lesionRole(l) + "/specimen"
	s := m.specimen(l, m.own("specimen", "specimen-endoscopic-resection"))
	var containers []report.Container
	if l.Specimen != nil {
		containers = l.Specimen.Containers
		s.Processing = m.handling(l.Specimen)
		s.Note = annotations(l.Specimen.Text)
	}
	switch {
	case len(containers) == 1:
		m.contain(s, containers[0], "Container 1 of 1")
	case len(containers) == 0 && l.Histology != nil && l.Histology.Accession != nil:
		s.AccessionIdentifier = identifier(*l.Histology.Accession)
	}
	m.emit(partReport, role, s, model.Status("available"), nil)
	if len(containers) < 2 {
		return
	}
	for i, c := range containers {
		part := m.specimen(l, m.own("specimen", "specimen-container"))
		part.Parent = model.Refs(m.ref(role))
		m.contain(part, c, "Container "+strconv.Itoa(i+1)+" of "+strconv.Itoa(len(containers)))
		m.emit(partReport, role+"/"+strconv.Itoa(i+1), part, model.Status("available"), nil)
	}
}

// specimen is what the whole and its parts have in common.
func (m *mapper) specimen(l report.Lesion, kind model.CodeableConcept) *model.Specimen {
	place, method := m.place(l), m.standard("proc.method.excision_action", "")
	return &model.Specimen{Type: &kind, Subject: &m.subject, Collection: &model.SpecimenCollection{
		Collector: m.endoscopist, CollectedDateTime: model.Str(m.collected(l)), Method: &method, BodySite: &place}}
}

// collected is when the lesion was free: the end of its resection.
func (m *mapper) collected(l report.Lesion) string {
	if l.Resection == nil {
		return m.rep.Session.End.Text()
	}
	_, end := m.resectionTime(l)
	for _, ph := range l.Resection.Phases { // haemostasis and closure come after the specimen is free
		if ph.Step == report.StepDissection || ph.Step == report.StepSnaring {
			end = ph.End.Text()
		}
	}
	return end
}

// contain writes the container and what the laboratory said of it.
func (m *mapper) contain(s *model.Specimen, c report.Container, text string) {
	box := model.SpecimenContainer{Description: model.Str(text)}
	if c.Identifier != nil && !c.Identifier.Zero() {
		box.Identifier = []model.Identifier{*identifier(*c.Identifier)}
	}
	box.SpecimenQuantity = m.number(c.Pieces, pieces).quantity
	s.Container = []model.SpecimenContainer{box}
	if c.Accession != nil && !c.Accession.Zero() {
		s.AccessionIdentifier = identifier(*c.Accession)
	}
	s.ReceivedTime = model.Str(c.ReceivedAt.Text())
	s.Note = append(s.Note, annotations(c.Content)...)
}

// handling maps how the specimen was prepared, with times where they are known.
func (m *mapper) handling(s *report.Specimen) []model.SpecimenProcessing {
	var out []model.SpecimenProcessing
	add := func(c model.CodeableConcept, at report.Time) {
		out = append(out, model.SpecimenProcessing{Procedure: &c, TimeDateTime: model.Str(at.Text())})
	}
	if s.Pinned == report.Yes || !s.PinnedAt.IsZero() {
		add(m.own("specimen", "handling-pinned"), s.PinnedAt)
	}
	if v := coded(m, "orientation", s.Orientation); v.concept != nil {
		add(*v.concept, report.Time{})
	}
	if v := coded(m, "fixative", s.Fixative); v.concept != nil {
		add(*v.concept, s.FixedAt)
	} else if !s.FixedAt.IsZero() {
		add(m.own("specimen", "handling-fixed"), s.FixedAt)
	}
	return out
}

// specimenFacts maps what was measured on the specimen, as facts of the
// resection.
func (p *panel) specimenFacts(l report.Lesion, at string) {
	s := l.Specimen
	if s == nil {
		return
	}
	before := *p
	p.at = at + "/specimen"
	p.fact("specimen-retrieved", "retrieved", p.m.answer(s.Retrieved))
	if p.m.hasSpecimen(l) {
		// R4 tells a fact of the specimen by this link; focus stays with the lesion.
		p.base.Specimen = reference(p.m.ref(lesionRole(l) + "/specimen"))
	}
	p.measured("specimen-size-long", "size_long_mm", p.m.number(s.SizeLongMm, millimetre), "method-pinned-ruler")
	p.measured("specimen-size-short", "size_short_mm", p.m.number(s.SizeShortMm, millimetre), "method-pinned-ruler")
	o := p.observation("specimen-handling")
	p.m.component(o, "orientation-component", coded(p.m, "orientation", s.Orientation))
	p.m.component(o, "pinned-component", p.m.answer(s.Pinned))
	p.m.component(o, "photographed-component", p.m.answer(s.Photo))
	p.m.component(o, "fixative-component", coded(p.m, "fixative", s.Fixative))
	if len(o.Component) > 0 {
		p.put("specimen-handling", o, "orientation", "pinned", "photographed", "fixative", "pinned_at", "fixed_at")
	}
	p.at, p.base = before.at, before.base
}
