// Package controls holds one right Bundle and one Bundle per fault that differs from it in that fault alone. It
// promises that each names the judges that catch it: a judge that stops biting, or starts to, fails a test.
package controls

import (
	_ "embed"
	"encoding/json"
	"fmt"
)

// Good is right in every judge's eyes.
//
//go:embed good.json
var Good []byte

// The judges, by the names used in Fault.Caught.
const (
	Protobuf = "google/fhir jsonformat"
	Schema   = "official R4 JSON Schema"
	Hygiene  = "own rules"
	HL7      = "HL7 validator"
)

// A Fault is one thing wrong with Good.
type Fault struct {
	Name   string
	Spoil  func(bundle, procedure, observation map[string]any) // changes Good in place
	Caught []string                                            // the judges that catch it; the others, as measured, don't
}

// Faults are the controls, from what breaks a delivery to what only misleads a reader.
var Faults = []Fault{
	{"a status outside the required codes", func(_, _, o map[string]any) { o["status"] = "finished" },
		[]string{Protobuf, Schema, HL7}},
	{"no status", func(_, _, o map[string]any) { delete(o, "status") },
		[]string{Protobuf, HL7}},
	{"a urn:uuid that no entry has", func(_, _, o map[string]any) {
		o["partOf"] = []any{map[string]any{"reference": "urn:uuid:5d2c1c3e-6f0b-4c8e-9a51-0c3f6f1a00ff"}}
	}, []string{Hygiene, HL7}},
	{"a reference to a type not allowed there", func(_, _, o map[string]any) {
		o["partOf"] = []any{map[string]any{"reference": "Specimen/1"}}
	}, []string{Protobuf, HL7}},
	{"two values", func(_, _, o map[string]any) { o["valueString"] = "36 mm" },
		[]string{Protobuf, HL7}},
	{"an element that FHIR doesn't have", func(_, _, o map[string]any) { o["colour"] = "red" },
		[]string{Protobuf, Schema, HL7}},
	{"a number as a string", func(_, _, o map[string]any) { o["valueQuantity"].(map[string]any)["value"] = "36.0" },
		[]string{Protobuf, Schema, HL7}},
	{"a time without a zone", func(_, _, o map[string]any) { o["effectiveDateTime"] = "2026-03-10T10:11:00" },
		[]string{Protobuf, Schema, HL7}},
	{"an end before its start", func(_, p, _ map[string]any) {
		p["performedPeriod"].(map[string]any)["end"] = "2026-03-10T08:00:00+01:00"
	}, []string{HL7}},
	{"a unit that UCUM doesn't have", func(_, _, o map[string]any) {
		o["valueQuantity"].(map[string]any)["code"] = "millimetre"
	}, []string{HL7}},
	{"an empty string", func(_, _, o map[string]any) { o["code"].(map[string]any)["text"] = "" },
		[]string{Schema, Hygiene, HL7}},
	{"an empty object", func(_, _, o map[string]any) { o["device"] = map[string]any{} },
		[]string{Hygiene, HL7}},
	{"an empty array", func(_, _, o map[string]any) { o["category"] = []any{} },
		[]string{Hygiene, HL7}},
	{"null", func(_, _, o map[string]any) { o["device"] = nil },
		[]string{Hygiene, HL7}},
	{"an entry without a request", func(b, _, _ map[string]any) { delete(b["entry"].([]any)[1].(map[string]any), "request") },
		[]string{HL7}},
}

// Bundle is Good with the fault.
func (f Fault) Bundle() ([]byte, error) {
	var bundle map[string]any
	if err := json.Unmarshal(Good, &bundle); err != nil {
		return nil, fmt.Errorf("reading the right Bundle: %w", err)
	}
	resource := func(i int) map[string]any {
		return bundle["entry"].([]any)[i].(map[string]any)["resource"].(map[string]any)
	}
	f.Spoil(bundle, resource(0), resource(1))
	return json.Marshal(bundle)
}
