package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
	"enbloc/mapping/term"
)

// resection maps what was done to one lesion: the Procedure, the steps that
// count on their own as child Procedures, and the facts as a panel.
func (m *mapper) resection(l report.Lesion, at string) {
	m.resectionProcedure(l)
	start, end := m.resectionTime(l)
	p := m.newPanel(partReport, lesionRole(l)+"/resection-facts", at+"/resection", m.performedIn(l), end)
	p.base.Focus = model.Refs(m.ref(lesionRole(l) + "/site"))
	r := l.Resection
	p.technique(r)
	p.timeLine(r)
	p.settings(r, start, end)
	p.preparation(r)
	m.injections(p, l)
	p.fact("trimming", "trimming", m.answer(r.Trimming))
	p.ranked("instruments-used", "knives", "instrument", texts(r.Knives))
	p.vesselsAndBleeding(l)
	p.fact("submucosal-fibrosis", "fibrosis", coded(m, "fibrosis", r.Fibrosis))
	p.fact("muscle-injury-type", "muscle_injury", coded(m, "muscle-injury", r.Muscle))
	p.closure(l)
	p.outcome(l)
	p.specimenFacts(l, at)
	p.group("resection-panel", "Resection facts, lesion "+strconv.Itoa(l.Number))
}

// resectionTime is the time from the first start to the last end of the
// phases, or that of the session when the report has no time line.
func (m *mapper) resectionTime(l report.Lesion) (start, end string) {
	s := m.rep.Session
	first, last := s.Start, s.End
	for i, ph := range l.Resection.Phases {
		if i == 0 || ph.Start.At().Before(first.At()) {
			first = ph.Start
		}
		if i == 0 || ph.End.At().After(last.At()) {
			last = ph.End
		}
	}
	return first.Text(), last.Text()
}

// resectionProcedure maps the resection itself. The extension names the lesion
// as its target: bodySite takes no reference.
func (m *mapper) resectionProcedure(l report.Lesion) {
	r, role := l.Resection, lesionRole(l)
	start, end := m.resectionTime(l)
	code := m.technique(r.Technique, l.Examination.Organ)
	p := &model.Procedure{
		Text: model.Generated(m.resectionNarrative(l)), Code: &code,
		Extension: []model.Extension{{Url: "http://hl7.org/fhir/StructureDefinition/procedure-targetBodyStructure",
			ValueReference: reference(m.ref(role + "/site"))}},
		PartOf: model.Refs(m.ref(roleSession)), Subject: m.subject, Encounter: m.encounter,
		PerformedPeriod: model.NewPeriod(start, end), Performer: m.leadOnly(),
		ReasonReference:    model.Refs(m.ref(role + "/condition")),
		BodySite:           []model.CodeableConcept{m.place(l)},
		Report:             model.Refs(m.ref(roleEndoscopyReport)),
		UsedReference:      m.generatorsUsed(r),
		ComplicationDetail: m.complications(l.Number),
	}
	if v := coded(m, "completion", r.Completion); v.concept != nil {
		p.Outcome = v.concept
	}
	for _, k := range r.Knives {
		p.UsedCode = append(p.UsedCode, m.own("instrument", string(k)))
	}
	m.emit(partReport, role+"/resection", p, model.Status(procedureStatus(r.Completion)), nil)
}

// procedureStatus: a resection that was begun and given up was stopped.
func procedureStatus(c report.Completion) string {
	if c == report.CompletionAbandoned || c == report.CompletionPartial {
		return "stopped"
	}
	return completed
}

// technique is our concept for a technique with the standard codes that are
// truly broader in the organ. SNOMED words mucosal resection as "excision of
// mucosa", which ESD is not.
func (m *mapper) technique(t report.Technique, organ report.Organ) model.CodeableConcept {
	c := m.ownIn("technique", string(t), organ)
	mucosal := t == report.EMR || t == report.PrecutEMR || t == report.UnderwaterEMR
	switch {
	case mucosal && organ == report.Stomach:
		return m.with(c, "proc.emr.stomach")
	case mucosal && organ == report.Colon:
		return m.with(c, "proc.emr.colon")
	case t == report.FullThickness && organ == report.Colon:
		return m.with(c, "proc.eftr.colon")
	case t == report.FullThickness && organ == report.Rectum:
		return m.with(c, "proc.eftr.rectum")
	case organ.Colorectal():
		return m.with(c, "proc.lesion_excision.large_intestine.endoscopic")
	}
	return c
}

func reference(literal string) *model.Reference {
	r := model.Ref(literal)
	return &r
}

// generatorsUsed are the generators of the settings, each once.
func (m *mapper) generatorsUsed(r *report.Resection) []model.Reference {
	var out []model.Reference
	done := map[string]bool{}
	for _, s := range r.Settings {
		if s.Generator != nil && !s.Generator.Zero() {
			if ref := m.ref(m.generatorRole(*s.Generator)); !done[ref] {
				done[ref] = true
				out = append(out, model.Ref(ref))
			}
		}
	}
	return out
}

// technique repeats as a fact what the Procedure says as its code, because a
// rule's input has to be an Observation.
func (p *panel) technique(r *report.Resection) {
	o := p.observation("resection-technique")
	coded(p.m, "technique", r.Technique).say(o)
	p.m.component(o, "planned-technique", coded(p.m, "technique", r.Planned))
	for _, a := range r.Aids {
		p.m.component(o, "technique-aid", coded(p.m, "aid", a))
	}
	p.put("resection-technique", o, "technique", "planned_technique", "aids")
	p.fact("resection-completion", "completion", coded(p.m, "completion", r.Completion))
	v := coded(p.m, "stop-reason", r.StopReason)
	if v.reported() || clean(r.StopText) != "" {
		o := p.observation("stop-reason")
		if !v.reported() {
			v = words(r.StopText)
		} else {
			o.Note = annotations(r.StopText)
		}
		v.say(o)
		p.put("stop-reason", o, "stop_reason", "stop_text")
	}
}

// timeLine maps each phase as a step with its period.
func (p *panel) timeLine(r *report.Resection) {
	for i, ph := range r.Phases {
		o := p.observation("resection-step")
		coded(p.m, "step", ph.Step).say(o)
		o.EffectiveDateTime, o.EffectivePeriod = nil, model.NewPeriod(ph.Start.Text(), ph.End.Text())
		p.putNumbered("resection-step", i, o, "phases/"+strconv.Itoa(i))
	}
}

// settings maps each generator setting. One setting is one measurement with
// coordinates, and settings change from step to step, so neither the Device
// nor the Procedure could hold them.
func (p *panel) settings(r *report.Resection, start, end string) {
	for i, s := range r.Settings {
		o := p.observation("generator-setting")
		coded(p.m, "step", s.Step).say(o)
		o.EffectiveDateTime, o.EffectivePeriod = nil, model.NewPeriod(start, end)
		if s.Generator != nil && !s.Generator.Zero() {
			o.Device = reference(p.m.ref(p.m.generatorRole(*s.Generator)))
		}
		p.m.component(o, "tool-in-hand", coded(p.m, "instrument", s.Instrument))
		p.m.component(o, "output-kind", coded(p.m, "output", s.Output))
		p.m.component(o, "output-effect", p.m.number(s.Effect, effectStep))
		p.m.component(o, "output-max-power", p.m.number(s.MaxW, watt))
		p.putNumbered("generator-setting", i, o, "settings/"+strconv.Itoa(i))
	}
}

// preparation maps marking and incision: steps, not Procedures, so that counts
// of procedures stay true.
func (p *panel) preparation(r *report.Resection) {
	if k := r.Marking; k != nil && k.Done != "" {
		o := p.observation("marking")
		p.m.answer(k.Done).say(o)
		p.m.component(o, "marking-distance", p.m.number(k.DistanceMm, millimetre))
		p.m.component(o, "oral-side-marked", p.m.answer(k.OralSideMarked))
		p.put("marking", o, "marking")
	}
	if c := r.Incision; c != nil {
		o := p.observation("mucosal-incision")
		coded(p.m, "extent", c.Extent).say(o)
		p.m.component(o, "first-side", coded(p.m, "side", c.Began))
		if c.Extent != "" || c.Began != "" {
			p.put("mucosal-incision", o, "incision")
		}
	}
}

// injections maps each injection as a fact and as a drug given.
func (m *mapper) injections(p *panel, l report.Lesion) {
	start, end := m.resectionTime(l)
	for i, in := range l.Resection.Injections {
		o := p.observation("submucosal-injection")
		agent := coded(m, "injectate", in.Agent)
		agent.say(o)
		if !in.GivenAt.IsZero() {
			o.EffectiveDateTime = model.Str(in.GivenAt.Text())
		}
		for _, a := range in.Additives {
			m.component(o, "injection-additive", coded(m, "additive", a))
		}
		m.component(o, "injection-volume", m.number(in.VolumeML, millilitre))
		m.component(o, "first-side", coded(m, "side", in.FirstSide))
		m.component(o, "extent-component", coded(m, "extent", in.Extent))
		m.component(o, "lift-quality", coded(m, "lift", in.Lift))
		m.component(o, "injection-timing-component", coded(m, "injection-timing", in.Timing))
		p.putNumbered("submucosal-injection", i, o, "injections/"+strconv.Itoa(i))
		if agent.concept == nil {
			continue
		}
		drug := *agent.concept
		drug.Text = model.Str(injectedText(in))
		m.administer(lesionRole(l)+"/injectate/"+strconv.Itoa(i+1), administration{
			drug: drug, route: "submucosal", dose: m.number(in.VolumeML, millilitre).quantity,
			at: in.GivenAt, during: lesionRole(l) + "/resection", from: start, to: end})
	}
}

func injectedText(in report.Injection) string {
	text := label("injectate", in.Agent)
	for _, a := range in.Additives {
		text += ", " + label("additive", a)
	}
	return text
}

// outcome maps how the resection ended.
func (p *panel) outcome(l report.Lesion) {
	r := l.Resection
	if v := p.m.number(r.Pieces, pieces); v.reported() {
		o := p.observation("piece-count")
		v.say(o)
		// partOf and specimen together link the Procedure to its Specimen,
		// which Specimen itself can not do in R4.
		if p.m.hasSpecimen(l) {
			o.Specimen = reference(p.m.ref(lesionRole(l) + "/specimen"))
		}
		p.put("piece-count", o, "pieces")
	}
	p.fact("visible-residual", "visible_residual", p.m.answer(r.VisibleResidual))
	p.fact("defect-circumference", "defect_circumference_pct", p.m.number(r.DefectCircumferencePct, percent))
	p.fact("defect-length", "defect_length_mm", p.m.number(r.DefectLengthMm, millimetre))
	p.fact("stricture-prevention", "stricture_prevention", coded(p.m, "stricture-prevention", r.StricturePrevention))
}

func slugged[T ~string](v T) string { return term.Slug(string(v)) }
