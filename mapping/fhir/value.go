package fhir

import (
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// value is what an Observation or one of its components says: a quantity, a
// concept, a time or words, or why there is none. The zero value was not
// reported and gives nothing.
type value struct {
	quantity *model.Quantity
	concept  *model.CodeableConcept
	dateTime *string
	text     *string
	absent   *model.CodeableConcept
}

func (v value) reported() bool {
	return v.quantity != nil || v.concept != nil || v.dateTime != nil || v.text != nil || v.absent != nil
}

// unit is a unit as people read it and its UCUM code.
type unit struct{ label, code string }

// Units in use. What is counted has the UCUM code of unity.
var (
	millimetre  = unit{"mm", "mm"}
	centimetre  = unit{"cm", "cm"}
	micrometre  = unit{"µm", "um"}
	squareMm    = unit{"mm2", "mm2"}
	percent     = unit{"%", "%"}
	watt        = unit{"W", "W"}
	millilitre  = unit{"mL", "mL"}
	milligram   = unit{"mg", "mg"}
	microgram   = unit{"µg", "ug"}
	hour        = unit{"h", "h"}
	day         = unit{"d", "d"}
	year        = unit{"a", "a"}
	gramPerDl   = unit{"g/dL", "g/dL"}
	unity       = unit{"1", "1"}
	points      = unit{"points", "1"}
	pieces      = unit{"pieces", "1"}
	vessels     = unit{"vessels", "1"}
	clips       = unit{"clips", "1"}
	nights      = unit{"nights", "1"}
	effectStep  = unit{"effect step", "1"}
	bloodUnits  = unit{"units", "1"}
	celsius     = unit{"°C", "Cel"}
	milligramDl = unit{"mg/dL", "mg/dL"}
	perMicrol   = unit{"/µL", "/uL"}
)

// number is a figure with its unit.
func (m *mapper) number(n report.Number, u unit) value {
	if n.Known() {
		return value{quantity: model.NewQuantity(n.Text(), u.label, u.code)}
	}
	return m.absence(n.Absence())
}

// coded is an enumerated value of the report.
func coded[T ~string](m *mapper, group string, v T) value {
	if v == "" {
		return value{}
	}
	if a := report.AbsenceOf(v); a != "" {
		return m.absence(a)
	}
	c := m.own(group, string(v))
	return value{concept: &c}
}

// answer is yes or no.
func (m *mapper) answer(a report.Answer) value {
	switch a {
	case report.Yes:
		return m.standardValue("adm.yes")
	case report.No:
		return m.standardValue("adm.no")
	}
	return m.absence(report.AbsenceOf(a))
}

// yesNo is an answer that is known.
func (m *mapper) yesNo(yes bool) value {
	if yes {
		return m.standardValue("adm.yes")
	}
	return m.standardValue("adm.no")
}

func (m *mapper) standardValue(key string) value {
	c := m.standard(key, "")
	return value{concept: &c}
}

func words(s string) value { return value{text: model.Str(clean(s))} }

func moment(t report.Time) value { return value{dateTime: model.Str(t.Text())} }

func date(d report.Date) value { return value{dateTime: model.Str(string(d))} }

// absence turns a stated absence into a dataAbsentReason.
func (m *mapper) absence(a report.Absence) value {
	var key string
	switch a {
	case report.Unknown:
		key = "hl7.data-absent-reason.unknown"
	case report.NotAssessed:
		key = "hl7.data-absent-reason.not-performed"
	case report.NotApplicable:
		key = "hl7.data-absent-reason.not-applicable"
	default:
		return value{}
	}
	c := m.standard(key, "")
	return value{absent: &c}
}

// say writes the value into an Observation.
func (v value) say(o *model.Observation) {
	o.ValueQuantity, o.ValueCodeableConcept, o.ValueDateTime = v.quantity, v.concept, v.dateTime
	o.ValueString, o.DataAbsentReason = v.text, v.absent
}

// component is one coordinate of an Observation.
func (m *mapper) component(o *model.Observation, name string, v value) {
	m.componentOf(o, m.own("component", name), v)
}

// componentOf is a coordinate under any code.
func (m *mapper) componentOf(o *model.Observation, code model.CodeableConcept, v value) {
	if !v.reported() {
		return
	}
	o.Component = append(o.Component, model.Component{Code: code,
		ValueQuantity: v.quantity, ValueCodeableConcept: v.concept, ValueDateTime: v.dateTime,
		ValueString: v.text, DataAbsentReason: v.absent})
}
