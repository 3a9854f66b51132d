package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// vesselsAndBleeding maps vessels, each bleeding, and coagulation of the base.
func (p *panel) vesselsAndBleeding(l report.Lesion) {
	r := l.Resection
	for i, v := range r.Vessels {
		o := p.observation("vessel-treated")
		count := v.Count
		if !count.Reported() {
			count = report.Int(1) // the report's own meaning of a count left out
		}
		p.m.number(count, vessels).say(o)
		if !v.At.IsZero() {
			o.EffectiveDateTime = model.Str(v.At.Text())
		}
		p.m.component(o, "vessel-size-component", coded(p.m, "vessel-size", v.Size))
		p.m.component(o, "treatment-moment", coded(p.m, "vessel-when", v.When))
		p.m.component(o, "tool-in-hand", coded(p.m, "vessel-tool", v.With))
		p.putNumbered("vessel-treated", i, o, "vessels/"+strconv.Itoa(i))
	}
	p.bleeding(l)
	if b := r.Base; b != nil {
		o := p.observation("base-coagulation-done")
		p.m.answer(b.Done).say(o)
		p.m.component(o, "tool-in-hand", coded(p.m, "vessel-tool", b.With))
		p.put("base-coagulation-done", o, "base_coagulation")
		if b.Done == report.Yes {
			p.child(l, "base-coagulation", "procedure-base-coagulation", b.Start, b.End,
				[]report.VesselTool{b.With}, p.m.ref(lesionRole(l)+"/condition"))
		}
	}
}

// bleeding maps whether it bled, and each time it did. A spell is an answer by
// itself: where the report lists spells and says nothing else, it bled.
func (p *panel) bleeding(l report.Lesion) {
	r := l.Resection
	occurred := p.m.answer(r.BleedingOccurred)
	if !occurred.reported() && len(r.Bleeding) > 0 {
		occurred = p.m.yesNo(true)
	}
	p.fact("intraprocedural-bleeding", "bleeding_occurred", occurred)
	for i, b := range r.Bleeding {
		o := p.observation("bleeding-spell")
		p.m.yesNo(true).say(o)
		if period := model.NewPeriod(b.Start.Text(), b.End.Text()); period != nil {
			o.EffectiveDateTime, o.EffectivePeriod = nil, period
		}
		p.m.component(o, "bleeding-kind-component", coded(p.m, "bleeding-kind", b.Kind))
		for _, t := range b.StoppedBy {
			p.m.component(o, "stopped-by", coded(p.m, "vessel-tool", t))
		}
		n := strconv.Itoa(i + 1)
		p.putNumbered("bleeding-spell", i, o, "bleeding/"+strconv.Itoa(i))
		if len(b.StoppedBy) > 0 {
			p.child(l, "haemostasis/"+n, "procedure-haemostasis", b.Start, b.End, b.StoppedBy,
				p.m.ref(p.role+"/bleeding-spell/"+n))
		}
	}
}

// closure maps the closing of the defect: as a fact in any case, as a
// Procedure when something was closed.
func (p *panel) closure(l report.Lesion) {
	c := l.Resection.Closure
	if c == nil {
		return
	}
	o := p.observation("defect-closure")
	coded(p.m, "closure-result", c.Result).say(o)
	for _, mean := range c.Means {
		p.m.component(o, "closure-means-component", coded(p.m, "closure-means", mean))
	}
	p.m.component(o, "clip-count", p.m.number(c.Clips, clips))
	p.put("defect-closure", o, "closure")
	if c.Result != report.ClosureComplete && c.Result != report.ClosurePartial {
		return
	}
	used := make([]model.CodeableConcept, 0, len(c.Means))
	for _, mean := range c.Means {
		used = append(used, p.m.own("closure-means", string(mean)))
	}
	p.childUsing(l, "closure", "procedure-closure", c.Start, c.End, used, p.m.ref(lesionRole(l)+"/condition"))
}

// child writes a Procedure that counts on its own within a resection.
func (p *panel) child(l report.Lesion, name, code string, start, end report.Time, tools []report.VesselTool, reason string) {
	var used []model.CodeableConcept
	for _, t := range tools {
		if c, ok := p.m.toolUsed(t); ok {
			used = append(used, c)
		}
	}
	p.childUsing(l, name, code, start, end, used, reason)
}

// childUsing writes the Procedure. A time that nobody noted is said to be
// unknown: it is not made up from the session's.
func (p *panel) childUsing(l report.Lesion, name, code string, start, end report.Time, used []model.CodeableConcept, reason string) {
	concept := p.m.ownIn("procedure", code, l.Examination.Organ)
	r := &model.Procedure{
		Text: model.Generated(childNarrative(concept, l, start, end)), Code: &concept,
		PartOf: model.Refs(p.m.performedIn(l)), Subject: p.m.subject, Encounter: p.m.encounter,
		Performer: p.m.leadOnly(), BodySite: []model.CodeableConcept{p.m.place(l)},
		ReasonReference: model.Refs(reason), UsedCode: used,
		PerformedPeriod: model.NewPeriod(start.Text(), end.Text()),
	}
	var extras model.Extras
	if r.PerformedPeriod == nil {
		extras = model.Extras{"_performedDateTime": model.UnknownTime}
	}
	p.m.emit(p.part, lesionRole(l)+"/"+name, r, model.Status(completed), extras)
}

// toolUsed is the device that a vessel was dealt with.
func (m *mapper) toolUsed(t report.VesselTool) (model.CodeableConcept, bool) {
	switch t {
	case report.ToolKnife:
		return m.own("device", "device-knife"), true
	case report.ToolForceps:
		return m.own("instrument", string(report.HaemoForceps)), true
	case report.ToolClip:
		return m.own("device", "device-clip"), true
	}
	return model.CodeableConcept{}, false
}
