package model

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"github.com/samply/golang-fhir-models/fhir-models/fhir"
)

// Codes are the codes that R4 requires of a resource and that the library
// would fill in by itself when forgotten. Each must be given where the type
// has it, and only there.
type Codes struct {
	Status    string
	Intent    string // ServiceRequest
	Actuality string // AdverseEvent
}

// Status is short for Codes with a status only.
func Status(code string) Codes { return Codes{Status: code} }

var (
	errCodeMissing = errors.New("a required code was not given")
	errCodeTwice   = errors.New("a required code was set before")
	errCodeUnused  = errors.New("a code was given that this type does not have")
)

// Encode writes a resource (a pointer to one of the types of this package) as
// canonical JSON. It fails rather than send something the caller did not say.
func Encode(resource any, codes Codes, extras Extras) (json.RawMessage, error) {
	name, body, err := dress(resource, codes)
	if err != nil {
		return nil, fmt.Errorf("setting the codes of a %s: %w", name, err)
	}
	if err := lint(resource); err != nil {
		return nil, fmt.Errorf("checking a %s: %w", name, err)
	}
	raw, err := write(name, body)
	if err != nil {
		return nil, fmt.Errorf("encoding a %s: %w", name, err)
	}
	if len(extras) == 0 && !hasEmpty(raw) {
		return raw, nil
	}
	return mend(raw, extras)
}

// dress sets the required codes and returns the type's name and the struct in
// the form without the library's MarshalJSON, which would write resourceType
// last and scan every byte again.
func dress(resource any, c Codes) (name string, body any, err error) {
	switch r := resource.(type) {
	case *Observation:
		return "Observation", (*fhir.OtherObservation)(r), only(c, set(&r.Status, c.Status))
	case *Procedure:
		return "Procedure", (*fhir.OtherProcedure)(r), only(c, set(&r.Status, c.Status))
	case *Media:
		return "Media", (*fhir.OtherMedia)(r), only(c, set(&r.Status, c.Status))
	case *DiagnosticReport:
		return "DiagnosticReport", (*fhir.OtherDiagnosticReport)(r), only(c, set(&r.Status, c.Status))
	case *ServiceRequest:
		err := errors.Join(set(&r.Status, c.Status), set(&r.Intent, c.Intent))
		return "ServiceRequest", (*fhir.OtherServiceRequest)(r), errors.Join(err, unused(c.Actuality))
	case *AdverseEvent:
		err := errors.Join(set(&r.Actuality, c.Actuality), unused(c.Status), unused(c.Intent))
		return "AdverseEvent", (*fhir.OtherAdverseEvent)(r), err
	case *Specimen:
		r.Status = new(fhir.SpecimenStatus)
		return "Specimen", (*fhir.OtherSpecimen)(r), only(c, set(r.Status, c.Status))
	case *Device:
		r.Status = new(fhir.FHIRDeviceStatus)
		return "Device", (*fhir.OtherDevice)(r), only(c, set(r.Status, c.Status))
	case *MedicationAdministration:
		if r.Status != "" {
			return "MedicationAdministration", r, errCodeTwice
		}
		if !administrationStatus[c.Status] {
			return "MedicationAdministration", r, errCodeMissing
		}
		r.Status = c.Status
		return "MedicationAdministration", r, only(c, nil)
	case *Composition:
		if r.Status != "" {
			return "Composition", r, errCodeTwice
		}
		if !compositionStatus[c.Status] {
			return "Composition", r, errCodeMissing
		}
		r.Status = c.Status
		return "Composition", r, only(c, nil)
	case *Condition:
		return "Condition", (*fhir.OtherCondition)(r), only(c, unused(c.Status))
	case *BodyStructure:
		return "BodyStructure", (*fhir.OtherBodyStructure)(r), only(c, unused(c.Status))
	case *Provenance:
		return "Provenance", (*fhir.OtherProvenance)(r), only(c, unused(c.Status))
	}
	return fmt.Sprintf("%T", resource), nil, errors.New("this type is not written here")
}

// administrationStatus is the required value set of
// MedicationAdministration.status (hl7.org/fhir/R4/valueset-medication-admin-status.html).
var administrationStatus = map[string]bool{"in-progress": true, "not-done": true, "on-hold": true,
	"completed": true, "entered-in-error": true, "stopped": true, "unknown": true}

// set writes a code into a field that still has its zero value.
func set[T comparable, P interface {
	*T
	UnmarshalJSON([]byte) error
}](field P, code string) error {
	var zero T
	switch {
	case code == "":
		return errCodeMissing
	case *field != zero:
		return errCodeTwice
	}
	return field.UnmarshalJSON([]byte(code))
}

func unused(code string) error {
	if code != "" {
		return errCodeUnused
	}
	return nil
}

// only says that a type has no other required code than a status.
func only(c Codes, err error) error { return errors.Join(err, unused(c.Intent), unused(c.Actuality)) }

// encoder is an encoder with its buffer; both are used again.
type encoder struct {
	buf bytes.Buffer
	enc *json.Encoder
}

var encoders = sync.Pool{New: func() any {
	e := &encoder{}
	e.enc = json.NewEncoder(&e.buf)
	e.enc.SetEscapeHTML(false)
	return e
}}

// write encodes the struct behind its resourceType.
func write(name string, body any) (json.RawMessage, error) {
	e := encoders.Get().(*encoder)
	defer encoders.Put(e)
	e.buf.Reset()
	if err := e.enc.Encode(body); err != nil {
		return nil, err // the encoder stays usable: it had written nothing
	}
	encoded := bytes.TrimSuffix(e.buf.Bytes(), []byte("\n"))
	raw := make([]byte, 0, len(encoded)+len(name)+len(`"resourceType":"",`))
	raw = append(raw, `{"resourceType":"`...)
	raw = append(raw, name...)
	raw = append(raw, '"')
	if len(encoded) > len("{}") {
		raw = append(raw, ',')
	}
	return append(raw, encoded[1:]...), nil
}

// hasEmpty reports whether there is a null, an empty string, list or object.
// It steps from string to string, because most of a resource is text.
func hasEmpty(raw []byte) bool {
	for i := 0; i < len(raw); i++ {
		switch raw[i] {
		case '"':
			end := stringEnd(raw, i+1)
			if end == i+1 {
				return true
			}
			i = end
		case 'n': // of null; true and false have none
			return true
		case '}':
			if raw[i-1] == '{' {
				return true
			}
		case ']':
			if raw[i-1] == '[' {
				return true
			}
		}
	}
	return false
}

// stringEnd returns where the string that starts at i has its closing quote.
func stringEnd(raw []byte, i int) int {
	for at := i; ; {
		quote := bytes.IndexByte(raw[at:], '"')
		if quote < 0 {
			return len(raw)
		}
		at += quote
		slashes := 0
		for at-1-slashes >= i && raw[at-1-slashes] == '\\' {
			slashes++
		}
		if slashes%2 == 0 {
			return at
		}
		at++
	}
}
