package fhir

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
	"enbloc/mapping/term"
)

// answerOf is the answer as a value: yes or no, one of our concepts, a figure,
// or words. What cannot be assessed has no value and says so.
func (m *mapper) answerOf(r assess.Result) value {
	switch r.Answer {
	case assess.CannotBeAssessed:
		c := m.standard("hl7.data-absent-reason.unknown", "Cannot be assessed: an input that decides is missing")
		return value{absent: &c}
	case assess.NotApplicable:
		return m.absence(report.NotApplicable)
	case "yes", "true":
		return m.yesNo(true)
	case "no", "false":
		return m.yesNo(false)
	}
	if n, err := report.NewNumber(strings.TrimSuffix(r.Answer, "%")); err == nil && n.Known() {
		if strings.HasSuffix(r.Answer, "%") {
			return m.number(n, percent)
		}
		if u, ok := unitOfAnswer(n, r.Values); ok {
			return m.number(n, u)
		}
	}
	c := model.Text(clean(r.Text()))
	if concept := m.answerConcept(r); concept != "" {
		c = m.ownText("answer", concept, clean(r.Text()))
	}
	if c.Text == nil {
		return m.absence(report.Unknown)
	}
	return value{concept: &c}
}

// answerConcept is the code of our concept for an answer, or "".
func (m *mapper) answerConcept(r assess.Result) string {
	answer := term.Slug(r.Answer)
	for _, s := range []struct{ rule, prefix string }{
		{"curability.ecura", "ecura-"}, {"esge2022", "esge-"}, {".asge", "severity-"}, {".agree", "agree-"},
		{".bleed.", "risk-"}, {"ecura_score", "risk-"},
	} {
		if !strings.Contains(r.Rule, s.rule) {
			continue
		}
		for _, code := range []string{s.prefix + answer, s.prefix + answer + "-risk"} {
			if _, ok := term.Own("answer", code); ok {
				return code
			}
		}
	}
	return ""
}

// valuesOf writes the parts of an answer as components, by name.
func (m *mapper) valuesOf(o *model.Observation, r assess.Result) {
	names := make([]string, 0, len(r.Values))
	for name := range r.Values {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		c := model.Component{Code: m.valueCode(name)}
		u := unitOf(name)
		switch v := r.Values[name].(type) {
		case string:
			c.ValueString = model.Str(clean(v))
		case bool:
			c.ValueBoolean = &v
		case int:
			c.ValueQuantity = m.number(report.Int(v), u).quantity
		case float64:
			c.ValueQuantity = m.figure(v, u)
		case []float64:
			if len(v) == 2 {
				c.ValueRange = &model.Range{Low: m.figure(v[0], u), High: m.figure(v[1], u)}
			} else {
				c.ValueString = model.Str(strings.Trim(fmt.Sprint(v), "[]"))
			}
		default:
			m.fail(fmt.Errorf("a rule gave a value of type %T", v))
		}
		if c.ValueString != nil || c.ValueBoolean != nil || c.ValueQuantity != nil || c.ValueRange != nil {
			o.Component = append(o.Component, c)
		}
	}
}

var asWords = strings.NewReplacer("_", " ", ".", ": ")

// valueCode names a part of an answer: our concept where there is one. A part
// about one drug of several has the drug in front ("warfarin.stop").
func (m *mapper) valueCode(name string) model.CodeableConcept {
	words := asWords.Replace(clean(name))
	part := term.Slug(name[strings.LastIndexByte(name, '.')+1:])
	if _, ok := term.Own("value", part); ok {
		return m.ownText("value", part, words)
	}
	return model.Text(words)
}

// figure is a calculated figure with its shortest spelling.
func (m *mapper) figure(v float64, u unit) *model.Quantity {
	if b, err := json.Marshal(v); err != nil || !json.Valid(b) {
		m.fail(fmt.Errorf("a rule gave a figure that is not a number"))
		return nil
	}
	return m.number(report.Float(v), u).quantity
}

// unitOfAnswer is the unit of an answer that is a figure: that of the part of
// the answer that it rounds. Without one the figure has no unit to be sent with.
func unitOfAnswer(answer report.Number, values map[string]any) (unit, bool) {
	want, _ := answer.Value()
	_, decimals, _ := strings.Cut(answer.Text(), ".")
	half := 0.5*math.Pow10(-len(decimals)) + 1e-9
	names := make([]string, 0, len(values))
	for name, v := range values {
		if figure, ok := v.(float64); ok && math.Abs(figure-want) <= half {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		if u := unitOf(name); u != unity {
			return u, true
		}
	}
	return unit{}, false
}

// unitOf reads the unit off the end of a name, as all names here carry it.
func unitOf(name string) unit {
	for _, s := range []struct {
		suffix string
		unit   unit
	}{
		{"mm2_per_min", unit{"mm2/min", "mm2/min"}}, {"mm2_min", unit{"mm2/min", "mm2/min"}},
		{"cm2_per_h", unit{"cm2/h", "cm2/h"}}, {"cm2_h", unit{"cm2/h", "cm2/h"}},
		{"_mm2", squareMm}, {"_cm2", unit{"cm2", "cm2"}}, {"_mm", millimetre}, {"_um", micrometre}, {"_cm", centimetre},
		{"_pct", percent}, {"ci95", percent}, {"_min", unit{"min", "min"}}, {"_h", hour}, {"_d", day}, {"_days", day},
		{"_mo", unit{"mo", "mo"}}, {"_months", unit{"mo", "mo"}}, {"points", points},
	} {
		if strings.HasSuffix(name, s.suffix) {
			return s.unit
		}
	}
	return unity
}

// riskOf writes the published figure with what it was counted on.
func (m *mapper) riskOf(o *model.Observation, r *assess.Risk) {
	if r == nil {
		return
	}
	of := strings.Join(nonEmpty(r.Of, r.Setting), "; ")
	add := func(name string, c model.Component) {
		c.Code = m.ownText("component", name, clean(of))
		o.Component = append(o.Component, c)
	}
	add("published-risk", model.Component{ValueQuantity: m.figure(r.Pct, percent)})
	if r.CILow != 0 || r.CIHigh != 0 {
		add("published-risk-interval", model.Component{ValueRange: &model.Range{
			Low: m.figure(r.CILow, percent), High: m.figure(r.CIHigh, percent)}})
	}
	if r.Denominator > 0 {
		add("published-risk-counts", model.Component{ValueRatio: &model.Ratio{
			Numerator: m.number(report.Int(r.Events), unity).quantity, Denominator: m.number(report.Int(r.Denominator), unity).quantity}})
	}
}
