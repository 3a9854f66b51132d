package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// histologyPart names the part of the case that the pathologist's findings on
// a lesion are.
func histologyPart(l report.Lesion) string { return "histology/" + strconv.Itoa(l.Number) }

// histology maps the pathologist's findings. They are new facts about the
// specimen and overwrite nothing that the endoscopist said. They are part of
// no Procedure and focus on nothing: they are about the specimen.
func (m *mapper) histology(l report.Lesion, at string) {
	h := l.Histology
	status, err := histologyStatus(h.Status)
	if err != nil {
		m.fail(err)
		return
	}
	p := m.newPanel(histologyPart(l), lesionRole(l)+"/histology", at+"/histology", "", m.collected(l))
	p.status = status
	p.base.PartOf = nil
	p.base.Category = []model.CodeableConcept{m.standard("hl7.observation-category.laboratory", "")}
	p.base.Specimen = reference(m.ref(lesionRole(l) + "/specimen"))
	p.base.Issued = model.Str(h.IssuedAt.Text())
	p.base.Performer = listOf(practitioner(h.Pathologist))
	p.types(h)
	p.fact("histological-grade", "grade", coded(m, "grade", h.Grade))
	p.fact("worst-histological-grade", "worst_grade", coded(m, "grade", h.WorstGrade))
	p.fact("dysplasia-grade", "dysplasia", coded(m, "dysplasia", h.Dysplasia))
	p.fact("pt-category", "pt", coded(m, "pt", h.PT))
	p.invasionDepth(h)
	p.margin("horizontal-margin-status", "horizontal-margin", h.HorizontalMargin, m.number(h.HorizontalDistanceMm, millimetre),
		"horizontal_margin", "horizontal_distance_mm")
	p.margin("vertical-margin-status", "vertical-margin", h.VerticalMargin, m.number(h.VerticalDistanceUm, micrometre),
		"vertical_margin", "vertical_distance_um")
	p.fact("lymphatic-invasion-status", "lymphatic_invasion", coded(m, "lymphatic-invasion", h.LymphaticInvasion))
	p.fact("venous-invasion-status", "venous_invasion", coded(m, "venous-invasion", h.VenousInvasion))
	p.fact("lymphovascular-invasion-status", "lymphovascular_invasion", coded(m, "lymphovascular-invasion", h.Lymphovascular))
	p.buds(h)
	p.fact("histological-ulceration", "ulceration", coded(m, "ulceration", h.Ulcer))
	const onMap = "method-histological-mapping"
	p.measured("tumour-size-long", "tumour_long_mm", m.number(h.TumourLongMm, millimetre), onMap)
	p.measured("tumour-size-short", "tumour_short_mm", m.number(h.TumourShortMm, millimetre), onMap)
	p.group("histology-panel", "Histology, lesion "+strconv.Itoa(l.Number), h.Text)
}

// types maps the histological types in order of amount, and the part of a
// gastric cancer that is undifferentiated.
func (p *panel) types(h *report.Histology) {
	p.ranked("histological-type", "types", "histology-type", texts(h.Types))
	u := h.Undifferentiated
	if u == nil {
		return
	}
	o := p.observation("undifferentiated-component")
	p.m.answer(u.Present).say(o)
	p.m.component(o, "undifferentiated-size", p.m.number(u.SizeMm, millimetre))
	p.m.component(o, "undifferentiated-in-submucosa", p.m.answer(u.InSubmucosa))
	p.put("undifferentiated-component", o, "undifferentiated_component")
}

// invasionDepth maps the depth with the line it was measured from, without
// which two depths can not be compared.
func (p *panel) invasionDepth(h *report.Histology) {
	v := p.m.number(h.DepthUm, micrometre)
	if !v.reported() {
		return
	}
	o := p.observation("sm-depth")
	v.say(o)
	p.m.component(o, "depth-base-line", coded(p.m, "depth-from", h.DepthFrom))
	p.put("sm-depth", o, "depth_um", "depth_from")
}

// margin maps a margin with the distance to it. A distance alone does not say
// that the margin is free, so it needs no result to be sent.
func (p *panel) margin(name, group string, s report.Sign, distance value, fields ...string) {
	v := coded(p.m, group, s)
	if !v.reported() && !distance.reported() {
		return
	}
	o := p.observation(name)
	v.say(o)
	p.m.component(o, "margin-distance", distance)
	p.put(name, o, fields...)
}

// buds maps grade and count apart: a count means nothing without its field.
func (p *panel) buds(h *report.Histology) {
	p.fact("tumour-budding", "budding", coded(p.m, "budding", h.Budding))
	v := p.m.number(h.BuddingCount, unity)
	if !v.reported() {
		return
	}
	o := p.observation("budding-count")
	v.say(o)
	p.m.component(o, "counted-field", p.m.number(h.BuddingFieldMm2, squareMm))
	p.put("budding-count", o, "budding_count", "budding_field_mm2")
}
