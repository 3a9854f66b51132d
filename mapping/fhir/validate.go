package fhir

import (
	"errors"
	"fmt"
	"strings"

	"enbloc/mapping/graph"
	"enbloc/mapping/term"
)

// Faults that Validate finds. The path in front of them names elements, never
// content.
var (
	errSequenceLow   = errors.New("the graph has no sequence")
	errCaseKey       = errors.New("the case key is not one")
	errRoleKey       = errors.New("the role key is not one")
	errUUID          = errors.New("the UUID is not that of the role key")
	errTwice         = errors.New("a role, a key or a UUID stands for two resources")
	errNotJSON       = errors.New("not JSON as this package writes it")
	errWrongType     = errors.New("the body is of another type")
	errEmptyValue    = errors.New("an empty or null value")
	errTwiceNamed    = errors.New("a member that stands twice")
	errTwoOfChoice   = errors.New("two values of one choice")
	errRequired      = errors.New("a required element is missing")
	errStatusCode    = errors.New("a status that is not sent for this type")
	errCode          = errors.New("a code or display that is in neither code table")
	errUnit          = errors.New("a unit outside the list of UCUM codes")
	errDangling      = errors.New("a reference that leads nowhere")
	errTarget        = errors.New("a reference to a type that may not stand here")
	errTime          = errors.New("a time without the precision that the element needs")
	errNothingSaid   = errors.New("an Observation that says nothing")
	errContradiction = errors.New("a value beside the reason why there is none")
	errKeyMissing    = errors.New("the role key or the case key is not on the resource")
	errTestLabel     = errors.New("some resources are labelled as test data and some are not")
)

// Validate checks a graph against what R4 requires of it and what enbloc
// promises: required elements and explicit statuses per type, one value of a
// choice, references that resolve and may stand where they stand, codes and
// displays of the code tables, UCUM units, times with zone, nothing empty, no
// role or key twice, test data labelled throughout. It does not replace a full
// validator: profiles, cardinalities and most invariants are not its business.
func Validate(g graph.Graph) error { return validate(g, term.Overlay{}) }

// ValidateFor is Validate at a site whose own codes may stand beside ours.
func ValidateFor(g graph.Graph, site term.Overlay) error { return validate(g, site) }

// validate also lets the codes of a site pass.
func validate(g graph.Graph, site term.Overlay) error {
	if g.Sequence < 1 {
		return errSequenceLow
	}
	if !isKey(g.CaseKey, 'c') {
		return errCaseKey
	}
	types, err := identities(g)
	if err != nil {
		return err
	}
	labelled := 0
	w := walker{types: types, caseKey: g.CaseKey, site: localCodings(site)}
	for _, r := range g.Resources {
		if err := w.resource(r); err != nil {
			return fmt.Errorf("%s %s%s: %w", r.Type, r.Role, w.where(), err)
		}
		if w.labelled {
			labelled++
		}
	}
	if labelled != 0 && labelled != len(g.Resources) {
		return errTestLabel
	}
	return nil
}

// identities checks roles and keys and returns the type behind every UUID.
func identities(g graph.Graph) (map[string]string, error) {
	types := make(map[string]string, len(g.Resources))
	roles := make(map[string]bool, len(g.Resources))
	made := newUUIDs()
	for _, r := range g.Resources {
		switch {
		case !isKey(r.Key, 'k'):
			return nil, fmt.Errorf("%s %s: %w", r.Type, r.Role, errRoleKey)
		case r.UUID != made.of(r.Key):
			return nil, fmt.Errorf("%s %s: %w", r.Type, r.Role, errUUID)
		case roles[r.Role] || types[r.UUID] != "":
			return nil, fmt.Errorf("%s %s: %w", r.Type, r.Role, errTwice)
		}
		roles[r.Role], types[r.UUID] = true, r.Type
	}
	return types, nil
}

func isKey(s string, letter byte) bool {
	return len(s) == 1+keyDigits && s[0] == letter && strings.Trim(s[1:], "0123456789abcdef") == ""
}

// typeRule is what a type has to have. Elements that end in [x] are choices.
type typeRule struct {
	required []string
	statuses []string // codes of status, where the type has one
}

// typeRules are R4's required elements of the types that enbloc writes, and
// the statuses that it sends. "registered", "preparation" and the like are
// legal in R4 and left out on purpose: they are what a forgotten status looks
// like.
var typeRules = map[string]typeRule{
	"AdverseEvent":  {[]string{"actuality", "subject"}, nil},
	"BodyStructure": {[]string{"patient", "active"}, nil},
	"Condition":     {[]string{"subject", "code", "verificationStatus"}, nil},
	"Device":        {[]string{"status", "type"}, []string{active}},
	"DiagnosticReport": {[]string{"status", "code", "subject", "effective[x]", "issued", "text"},
		[]string{"partial", preliminary, final, amended, corrected, appended, enteredInError}},
	"Media":                    {[]string{"status", "content"}, []string{completed, enteredInError}},
	"MedicationAdministration": {[]string{"status", "medication[x]", "subject", "effective[x]"}, []string{completed, enteredInError}},
	"Observation": {[]string{"status", "code", "subject", "category", "effective[x]"},
		[]string{preliminary, final, amended, corrected, enteredInError}},
	"Procedure":      {[]string{"status", "subject", "code", "performed[x]"}, []string{completed, "stopped", enteredInError}},
	"Provenance":     {[]string{"target", "recorded", "agent"}, nil},
	"ServiceRequest": {[]string{"status", "intent", "subject", "code"}, []string{"draft", active, enteredInError}},
	"Specimen":       {[]string{"status", "type", "subject"}, []string{"available", enteredInError}},
}

// nestedRequired are required elements of parts, by the member they stand in.
var nestedRequired = map[string][]string{
	"component": {"code"}, "agent": {"who"}, "entity": {"role", "what"}, "note": {"text"},
	"suspectEntity": {"instance"}, "extension": {"url"}, "deviceName": {"name", "type"}, "text": {"status", "div"},
	"link": {"reference"}, "who": {"reference"},
}

// targets are the types that an element may refer to, where R4 allows few
// (hl7.org/fhir/R4, definition of each element) or enbloc means one.
var targets = map[string]string{
	"derivedFrom": "Observation Media", "hasMember": "Observation", "result": "Observation", "link": "Media",
	"specimen": "Specimen", "parent": "Specimen", "complicationDetail": "Condition", "resultingCondition": "Condition",
	"report": "DiagnosticReport", "device": "Device", "usedReference": "Device", "partOf": "Procedure",
	"reasonReference": "Condition Observation", "assessment": "Observation", "detail": "Observation",
	"instance": "Procedure", "valueReference": "BodyStructure",
}

// outside are the types that the hospital owns and that are found by search.
var outside = []string{"Patient?identifier=", "Encounter?identifier=", "Practitioner?identifier="}
