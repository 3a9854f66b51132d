package fhir

import (
	"strconv"
	"strings"

	"enbloc/mapping/fhir/model"
)

// panel writes the Observations about one thing and the Observation that
// groups them.
type panel struct {
	m       *mapper
	part    string
	role    string // such as "lesion/1/examination"
	at      string // JSON Pointer of what the facts stand under
	status  string
	base    model.Observation // what all of them share
	members []string
}

// newPanel starts a panel of facts found in a Procedure at a time.
func (m *mapper) newPanel(part, role, at, partOf, effective string) *panel {
	p := &panel{m: m, part: part, role: role, at: at, status: m.state.Observation}
	p.base = model.Observation{
		Category: []model.CodeableConcept{m.standard("hl7.observation-category.procedure", "")},
		Subject:  &m.subject, Encounter: m.encounter, PartOf: model.Refs(partOf),
		EffectiveDateTime: model.Str(effective), Issued: model.Str(m.issued), Performer: listOf(m.endoscopist),
	}
	return p
}

// observation starts a fact.
func (p *panel) observation(name string) *model.Observation {
	o := p.base
	o.Code = p.m.own("observation", name)
	return &o
}

// fact writes a fact that has one value and stands in one field; nothing when
// it was not reported.
func (p *panel) fact(name, field string, v value) { p.measured(name, field, v, "") }

// measured is a fact with the method by which it was found.
func (p *panel) measured(name, field string, v value, method string) {
	if !v.reported() {
		return
	}
	o := p.observation(name)
	v.say(o)
	if method != "" {
		c := p.m.own("method", method)
		o.Method = &c
	}
	p.put(name, o, field)
}

// put writes a fact under its name and records which fields it covers.
func (p *panel) put(name string, o *model.Observation, fields ...string) {
	role := p.role + "/" + name
	for _, field := range fields {
		p.m.where.cover(role, p.at+"/"+field)
	}
	p.m.emit(p.part, role, o, model.Status(p.status), nil)
	p.members = append(p.members, p.m.ref(role))
}

// ranked is a fact that lists several values in order. Several codings in one
// concept would read as synonyms, so the values become components.
func (p *panel) ranked(name, field, group string, values []string) {
	if len(values) == 0 {
		return
	}
	o := p.observation(name)
	coded(p.m, group, values[0]).say(o)
	if len(values) > 1 && o.DataAbsentReason == nil {
		labels := make([]string, len(values))
		for i, v := range values {
			labels[i] = label(group, v)
			p.m.component(o, "rank-"+strconv.Itoa(min(i+1, 4)), coded(p.m, group, v))
		}
		text := model.Text(strings.Join(labels, " + "))
		o.ValueCodeableConcept = &text
	}
	p.put(name, o, field)
}

// group writes the panel over the facts so far and returns its role, "" when
// there are none: an empty panel says nothing.
func (p *panel) group(name, text string, notes ...string) string {
	if len(p.members) == 0 {
		return ""
	}
	o := p.base
	o.Code = p.m.ownText("panel", name, text)
	o.HasMember = model.Refs(p.members...)
	o.Note = annotations(notes...)
	p.m.emit(p.part, p.role, &o, model.Status(p.status), nil)
	return p.role
}

// annotations turns texts that are not blank into notes.
func annotations(texts ...string) []model.Annotation {
	var out []model.Annotation
	for _, t := range texts {
		if t = clean(t); t != "" {
			out = append(out, model.Annotation{Text: t})
		}
	}
	return out
}

// texts turns enumerated values into strings.
func texts[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}
