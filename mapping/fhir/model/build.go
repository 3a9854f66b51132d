package model

import (
	"encoding/json"

	"github.com/samply/golang-fhir-models/fhir-models/fhir"
)

// UCUM is the system of every unit.
const UCUM = "http://unitsofmeasure.org"

// Str points to s, or is nil when s is empty: an empty string is never sent.
func Str(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// Bool points to b.
func Bool(b bool) *bool { return &b }

// NewQuantity is a quantity with the digits as they were written, or nil when
// there are none: an absent figure can not become a zero. Unit is what people
// read, code the UCUM code.
func NewQuantity(digits, unit, code string) *Quantity {
	if digits == "" {
		return nil
	}
	value, system := json.Number(digits), UCUM
	return &Quantity{Value: &value, Unit: &unit, System: &system, Code: &code}
}

// NewPeriod is a period, open where an end is empty, or nil when both are.
func NewPeriod(start, end string) *Period {
	if start == "" && end == "" {
		return nil
	}
	return &Period{Start: Str(start), End: Str(end)}
}

// Ref is a reference by its literal string.
func Ref(reference string) Reference { return Reference{Reference: &reference} }

// Refs turns literal strings into references.
func Refs(references ...string) []Reference {
	out := make([]Reference, 0, len(references))
	for _, r := range references {
		out = append(out, Ref(r))
	}
	return out
}

// Generated is a narrative that was generated from the resource's own data.
func Generated(div string) *Narrative {
	return &Narrative{Status: fhir.NarrativeStatusGenerated, Div: div}
}

// Text is a concept in words only.
func Text(text string) CodeableConcept { return CodeableConcept{Text: Str(text)} }

// NamedByUser returns a device name as people use it.
func NamedByUser(name string) DeviceName {
	return DeviceName{Name: name, Type: fhir.DeviceNameTypeOther}
}

// Source names what a record was made from.
func Source(what Reference) fhir.ProvenanceEntity {
	return fhir.ProvenanceEntity{Role: fhir.ProvenanceEntityRoleSource, What: what}
}
