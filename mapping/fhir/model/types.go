package model

import "github.com/samply/golang-fhir-models/fhir-models/fhir"

// Resources of FHIR R4 that enbloc writes with the library's structs.
type (
	AdverseEvent     = fhir.AdverseEvent
	BodyStructure    = fhir.BodyStructure
	Condition        = fhir.Condition
	Device           = fhir.Device
	DiagnosticReport = fhir.DiagnosticReport
	Media            = fhir.Media
	Observation      = fhir.Observation
	Procedure        = fhir.Procedure
	Provenance       = fhir.Provenance
	ServiceRequest   = fhir.ServiceRequest
	Specimen         = fhir.Specimen
)

// Parts of resources.
type (
	Annotation            = fhir.Annotation
	Attachment            = fhir.Attachment
	CodeableConcept       = fhir.CodeableConcept
	Coding                = fhir.Coding
	Component             = fhir.ObservationComponent
	ConditionEvidence     = fhir.ConditionEvidence
	ConditionStage        = fhir.ConditionStage
	DeviceName            = fhir.DeviceDeviceName
	DeviceVersion         = fhir.DeviceVersion
	DiagnosticReportMedia = fhir.DiagnosticReportMedia
	Extension             = fhir.Extension
	Identifier            = fhir.Identifier
	Meta                  = fhir.Meta
	Narrative             = fhir.Narrative
	Period                = fhir.Period
	ProcedurePerformer    = fhir.ProcedurePerformer
	ProvenanceAgent       = fhir.ProvenanceAgent
	Quantity              = fhir.Quantity
	Range                 = fhir.Range
	Ratio                 = fhir.Ratio
	Reference             = fhir.Reference
	SpecimenCollection    = fhir.SpecimenCollection
	SpecimenContainer     = fhir.SpecimenContainer
	SpecimenProcessing    = fhir.SpecimenProcessing
	SuspectEntity         = fhir.AdverseEventSuspectEntity
)

// MedicationAdministration is R4's, as far as enbloc uses it. The library's
// struct always writes every medication[x] and every effective[x].
type MedicationAdministration struct {
	Meta                      *Meta                 `json:"meta,omitempty"`
	Identifier                []Identifier          `json:"identifier,omitempty"`
	PartOf                    []Reference           `json:"partOf,omitempty"`
	Status                    string                `json:"status,omitempty"`
	MedicationCodeableConcept *CodeableConcept      `json:"medicationCodeableConcept,omitempty"`
	Subject                   *Reference            `json:"subject,omitempty"`
	Context                   *Reference            `json:"context,omitempty"`
	EffectiveDateTime         *string               `json:"effectiveDateTime,omitempty"`
	EffectivePeriod           *Period               `json:"effectivePeriod,omitempty"`
	Performer                 []MedicationPerformer `json:"performer,omitempty"`
	Dosage                    *MedicationDosage     `json:"dosage,omitempty"`
}

// MedicationPerformer is who gave a drug.
type MedicationPerformer struct {
	Actor Reference `json:"actor"`
}

// MedicationDosage is how much of a drug was given. R4 wants a dose in every
// dosage (invariant mad-1).
type MedicationDosage struct {
	Text  *string          `json:"text,omitempty"`
	Route *CodeableConcept `json:"route,omitempty"`
	Dose  *Quantity        `json:"dose,omitempty"`
}
