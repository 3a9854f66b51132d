package fhir

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/term"
)

// voided is what a voided resource says for itself.
const voided = "This record was withdrawn: it was entered in error. Do not use it."

// withdrawal is what the resources of this case say when they are void.
func (m *mapper) withdrawal() string {
	at := m.rep.WrittenAt.Day()
	if at == "" || m.rep.Status != "withdrawn" {
		return voided
	}
	return "This record was withdrawn on " + at + ": it was entered in error. Do not use it."
}

// Void marks a resource as entered in error, as far as its type allows, and
// replaces what people would read. Status says it for most types; a Condition
// says it in verificationStatus, and may then have neither a clinical status
// nor an abatement (R4, con-5 and con-4); an AdverseEvent has no status, so a
// tag says it; a BodyStructure is no longer active. A Provenance is never void,
// as who wrote what when stays true, nor a Device, which other cases use too:
// for both nil is returned, which leaves them as they are. An error is returned
// for types that enbloc does not write. Members that are unknown stay as they
// are.
func Void(resourceType string, body json.RawMessage) (json.RawMessage, error) {
	if resourceType == "Provenance" || resourceType == "Device" {
		return nil, nil
	}
	return voidAs(resourceType, body, voided)
}

var (
	errVoidType  = errors.New("this type is not voided")
	errVoidOther = errors.New("the resource is of another type")
)

// voidAs voids with the words that people will read.
func voidAs(resourceType string, body json.RawMessage, text string) (json.RawMessage, error) {
	o, err := model.ParseObject(body)
	if err != nil {
		return nil, fmt.Errorf("voiding a %s: %w", resourceType, err)
	}
	if o.Get("resourceType") != resourceType {
		return nil, fmt.Errorf("voiding a %s: %w", resourceType, errVoidOther)
	}
	switch resourceType {
	case "Observation", "Procedure", "Media", "MedicationAdministration", "ServiceRequest", "Specimen":
		o.Set("status", enteredInError)
	case "DiagnosticReport":
		o.Set("status", enteredInError)
		o.Set("conclusion", text)
		o.Delete(func(name string) bool { return name == "conclusionCode" || name == "presentedForm" })
	case "Condition":
		o.Set("verificationStatus", statusConcept("condition-ver-status", enteredInError))
		o.Delete(func(name string) bool { return name == "clinicalStatus" || strings.HasPrefix(name, "abatement") })
	case "AdverseEvent":
		retract(o)
	case "BodyStructure":
		o.Set("active", false)
	default:
		return nil, fmt.Errorf("voiding a %s: %w", resourceType, errVoidType)
	}
	if narrative, ok := o.Get("text").(*model.Object); ok {
		narrative.Set("div", page(func(x *xhtml) { x.heading(withdrawnTitle(resourceType, o)); x.paragraph(text) }))
	}
	return o.JSON()
}

// withdrawnTitle says which report is withdrawn, as a case has two and both are
// read on one page.
func withdrawnTitle(resourceType string, o *model.Object) string {
	if resourceType == "DiagnosticReport" {
		if code, ok := o.Get("code").(*model.Object); ok {
			if name, ok := code.Get("text").(string); ok && clean(name) != "" {
				return name + ": withdrawn"
			}
		}
	}
	return "Withdrawn"
}

// statusConcept is an HL7 status concept of the code table as raw JSON.
func statusConcept(system, code string) *model.Object {
	c, _ := term.Lookup("hl7." + system + "." + code)
	coding := &model.Object{}
	coding.Set("system", c.System)
	coding.Set("code", c.Code)
	coding.Set("display", c.Display)
	concept := &model.Object{}
	concept.Set("coding", []any{coding})
	return concept
}

// retract tags an AdverseEvent and replaces its event by words, so that it no
// longer follows the profile that it claimed. A second retraction changes
// nothing.
func retract(o *model.Object) {
	meta, ok := o.Get("meta").(*model.Object)
	if !ok {
		meta = &model.Object{}
		o.Set("meta", meta)
	}
	tags, _ := meta.Get("tag").([]any)
	for _, t := range tags {
		if tag, ok := t.(*model.Object); ok && tag.Get("system") == term.System && tag.Get("code") == "retracted" {
			return
		}
	}
	concept, _ := term.Own("administrative", "retracted")
	tag := &model.Object{}
	tag.Set("system", term.System)
	tag.Set("code", concept.Code)
	tag.Set("display", concept.Display)
	meta.Set("tag", append(tags, tag))
	meta.Delete(func(name string) bool { return name == "profile" })
	event := &model.Object{}
	event.Set("text", "Withdrawn: entered in error")
	o.Set("event", event)
}
