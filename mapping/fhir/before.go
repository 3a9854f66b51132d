package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

const roleBefore = "before"

// before maps what was known and prepared before the session. Drugs taken and
// dialysis are Observations, not statements or conditions: only an Observation
// may be the input of a derived result (R4, Observation.derivedFrom).
func (m *mapper) before() {
	p := m.newPanel(partReport, roleBefore, "/before", m.ref(roleSession), m.rep.Session.Start.Text())
	p.at = "/patient"
	p.fact("age-at-session", "age_y", m.number(m.rep.Patient.AgeY, year))
	p.at = "/session"
	p.fact("session-gas", "gas", coded(m, "gas", m.rep.Session.Gas))
	p.fact("session-cap", "cap", m.answer(m.rep.Session.Cap))
	p.at = "/before"
	if b := m.rep.Before; b != nil {
		p.indication(b)
		for i, e := range b.Earlier {
			p.earlier(i, e)
		}
		p.antithrombotics(b)
		p.fact("inr", "inr", m.number(b.INR, unity))
		p.fact("thrombotic-risk", "thrombotic_risk", coded(m, "risk-level", b.ThromboticRisk))
		p.fact("haemodialysis", "haemodialysis", m.answer(b.Haemodialysis))
		p.fact("asa-class", "asa_class", coded(m, "asa", b.ASAClass))
		p.fact("h-pylori-status", "h_pylori", coded(m, "h-pylori", b.HPylori))
		p.implant(b)
		p.fact("neutral-electrode-site", "neutral_electrode_site", coded(m, "electrode-site", b.NeutralElectrodeSite))
		if b.Sedation != nil {
			p.fact("sedation-depth", "sedation/depth", coded(m, "sedation-depth", b.Sedation.Depth))
			m.sedation(b.Sedation)
		}
		p.fact("fasting-time", "fasting_h", m.number(b.FastingH, hour))
		p.boston(b.Boston)
	}
	p.group("pre-procedure-panel", "")
}

// indication maps why the lesion is to be removed. Words alone are a value too:
// a report that codes no intent may still say one.
func (p *panel) indication(b *report.Before) {
	v := coded(p.m, "intent", b.Indication)
	text := clean(b.IndicationText)
	if !v.reported() && text == "" {
		return
	}
	o := p.observation("indication")
	v.say(o)
	if !v.reported() {
		c := model.Text(text)
		o.ValueCodeableConcept = &c
	} else {
		o.Note = annotations(text)
	}
	p.put("indication", o, "indication", "indication_text")
}

// earlier maps a biopsy or treatment before this session, about its lesion where
// the report names one.
func (p *panel) earlier(i int, e report.Earlier) {
	o := p.observation("earlier-measure")
	coded(p.m, "earlier", e.Kind).say(o)
	p.m.component(o, "earlier-date", date(e.Date))
	p.m.component(o, "earlier-indication", coded(p.m, "earlier-indication", e.Indication))
	if e.ECura != "" {
		p.m.component(o, "earlier-ecura", coded(p.m, "answer", "ecura-"+slugged(e.ECura)))
	}
	p.m.component(o, "local-recurrence", p.m.answer(e.LocalRecurrence))
	if at := p.m.lesionNumbered(e.Lesion); at >= 0 {
		o.Focus = model.Refs(p.m.ref(lesionRole(p.m.rep.Lesions[at]) + "/site"))
	}
	o.Note = annotations(e.Text)
	n := strconv.Itoa(i)
	p.putNumbered("earlier-measure", i, o, "earlier/"+n)
}

// putNumbered writes one of several facts of a kind, numbered from 1.
func (p *panel) putNumbered(name string, i int, o *model.Observation, fields ...string) {
	p.put(name+"/"+strconv.Itoa(i+1), o, fields...)
}

// antithrombotics maps the list and each agent on it. The list is a fact of
// its own: only a complete one makes a drug that is not on it "not taken".
func (p *panel) antithrombotics(b *report.Before) {
	var agents []string
	for i, a := range b.Antithrombotics {
		agents = append(agents, p.agent(i, a))
	}
	v := coded(p.m, "antithrombotic-history", b.AntithromboticHistory)
	if !v.reported() {
		for _, ref := range agents {
			p.members = append(p.members, ref)
		}
		return
	}
	o := p.observation("antithrombotic-list")
	v.say(o)
	if len(agents) > 0 {
		o.HasMember = model.Refs(agents...)
	}
	p.put("antithrombotic-list", o, "antithrombotic_history")
}

// agent maps one drug and returns the reference to it. It is a member of the
// list, or of the panel when the report has no list.
func (p *panel) agent(i int, a report.Antithrombotic) string {
	o := p.observation("antithrombotic-agent")
	coded(p.m, "drug-class", a.Class).say(o)
	p.m.component(o, "agent-taken", coded(p.m, "agent", a.Agent))
	p.m.component(o, "management-component", coded(p.m, "management", a.Management))
	p.m.component(o, "replaced-by", coded(p.m, "drug-class", a.ReplacedBy))
	p.m.component(o, "bridging-component", coded(p.m, "bridging", a.Bridging))
	p.m.component(o, "last-dose", moment(a.LastDose))
	p.m.component(o, "planned-restart", date(p.m.restartOf(a)))
	role := p.role + "/antithrombotic-agent/" + strconv.Itoa(i+1)
	p.m.where.cover(role, p.at+"/antithrombotics/"+strconv.Itoa(i))
	p.m.emit(p.part, role, o, model.Status(p.status), nil)
	return p.m.ref(role)
}

// restartOf is the day on which a drug is to be taken again: as the list says,
// else as the plan says of its class.
func (m *mapper) restartOf(a report.Antithrombotic) report.Date {
	if a.PlannedRestart != "" || m.rep.Plan == nil {
		return a.PlannedRestart
	}
	for _, r := range m.rep.Plan.AntithromboticPlan {
		if r.Class == a.Class {
			return r.On
		}
	}
	return ""
}

// implant maps an implanted device with what was done about it. A precaution
// without a device says nothing.
func (p *panel) implant(b *report.Before) {
	v := coded(p.m, "implant", b.Implant)
	if !v.reported() {
		return
	}
	o := p.observation("implanted-device")
	v.say(o)
	p.m.component(o, "precaution", coded(p.m, "implant-precaution", b.ImplantPrecaution))
	p.put("implanted-device", o, "implanted_device", "implant_precaution")
}

// boston maps the scale. The sum is the value only when every segment has a
// grade: a missing segment is not a zero.
func (p *panel) boston(b *report.Boston) {
	if b == nil {
		return
	}
	o := p.observation("boston-scale")
	sum, whole := 0.0, true
	for _, s := range []struct {
		name string
		n    report.Number
	}{{"boston-right", b.Right}, {"boston-transverse", b.Transverse}, {"boston-left", b.Left}} {
		v, ok := s.n.Value()
		sum, whole = sum+v, whole && ok
		p.m.component(o, s.name, p.m.number(s.n, points))
	}
	if len(o.Component) == 0 {
		return
	}
	if whole {
		p.m.number(report.Float(sum), points).say(o)
	}
	p.put("boston-scale", o, "boston")
}
