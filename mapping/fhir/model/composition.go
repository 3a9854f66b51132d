package model

// Composition is R4's, as far as enbloc uses it. The library's struct always
// writes every target[x] of relatesTo.
// (http://hl7.org/fhir/R4/composition.html)
type Composition struct {
	Meta       *Meta                 `json:"meta,omitempty"`
	Identifier *Identifier           `json:"identifier,omitempty"`
	Status     string                `json:"status,omitempty"`
	Type       CodeableConcept       `json:"type"`
	Category   []CodeableConcept     `json:"category,omitempty"`
	Subject    *Reference            `json:"subject,omitempty"`
	Encounter  *Reference            `json:"encounter,omitempty"`
	Date       string                `json:"date"`
	Author     []Reference           `json:"author"`
	Title      string                `json:"title"`
	Attester   []CompositionAttester `json:"attester,omitempty"`
	Custodian  *Reference            `json:"custodian,omitempty"`
	Section    []CompositionSection  `json:"section,omitempty"`
}

// CompositionAttester is who stands for a document, and how.
type CompositionAttester struct {
	Mode  string     `json:"mode"`
	Time  string     `json:"time,omitempty"`
	Party *Reference `json:"party,omitempty"`
}

// CompositionSection is a part of a document with its words and its data.
type CompositionSection struct {
	Title string      `json:"title"`
	Text  *Narrative  `json:"text,omitempty"`
	Entry []Reference `json:"entry,omitempty"`
}

// compositionStatus is the required value set of Composition.status
// (http://hl7.org/fhir/R4/valueset-composition-status.html).
var compositionStatus = map[string]bool{"preliminary": true, "final": true, "amended": true, "entered-in-error": true}
