package practice

import (
	"maps"
	"net/http"
	"slices"
	"strings"
)

// kind is what the receiver knows of a resource type: enough to refuse what a
// careful server refuses, far from a validator.
type kind struct {
	name string
	// identifierSearch: R4 defines the search parameter "identifier". It does
	// not for AdverseEvent and Provenance
	// (http://hl7.org/fhir/R4/searchparameter-registry.html).
	identifierSearch bool
	// patient is the element that names the patient; may be empty.
	patient string
	// required elements; "x[x]" is a choice of which exactly one is there.
	required []string
}

// kinds is from the R4 resource definitions (http://hl7.org/fhir/R4/), the
// minimum cardinalities of the types in use.
var kinds = byName(
	kind{"Patient", true, "", nil},
	kind{"Practitioner", true, "", nil},
	kind{"PractitionerRole", true, "", nil},
	kind{"Organization", true, "", nil},
	kind{"Location", true, "", nil},
	kind{"Encounter", true, "subject", []string{"status", "class"}},
	kind{"ServiceRequest", true, "subject", []string{"status", "intent", "subject"}},
	kind{"Procedure", true, "subject", []string{"status", "subject"}},
	kind{"Condition", true, "subject", []string{"subject"}},
	kind{"BodyStructure", true, "patient", []string{"patient"}},
	kind{"Observation", true, "subject", []string{"status", "code"}},
	kind{"DiagnosticReport", true, "subject", []string{"status", "code"}},
	kind{"Specimen", true, "subject", nil},
	kind{"Device", true, "patient", nil},
	kind{"Media", true, "subject", []string{"status", "content"}},
	kind{"DocumentReference", true, "subject", []string{"status", "content"}},
	kind{"MedicationAdministration", true, "subject", []string{"status", "medication[x]", "subject", "effective[x]"}},
	kind{"AdverseEvent", false, "subject", []string{"actuality", "subject"}},
	kind{"CarePlan", true, "subject", []string{"status", "intent", "subject"}},
	kind{"Provenance", false, "", []string{"target", "recorded", "agent"}},
)

// bindings are required ones that the schema leaves out of the table of elements,
// as several types share the value set
// (http://hl7.org/fhir/R4/valueset-request-status.html and the like).
var bindings = map[string]string{
	"ServiceRequest.status":           "draft active on-hold revoked completed entered-in-error unknown",
	"ServiceRequest.intent":           "proposal plan directive order original-order reflex-order filler-order instance-order option",
	"ServiceRequest.priority":         "routine urgent asap stat",
	"CarePlan.status":                 "draft active on-hold revoked completed entered-in-error unknown",
	"CarePlan.intent":                 "proposal plan order option",
	"Procedure.status":                "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
	"Media.status":                    "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
	"MedicationAdministration.status": "in-progress not-done on-hold completed entered-in-error stopped unknown",
}

// Types are the resource types that the receiver knows, in alphabetical order.
func Types() []string { return slices.Sorted(maps.Keys(kinds)) }

func byName(all ...kind) map[string]kind {
	m := make(map[string]kind, len(all))
	for _, k := range all {
		m[k.name] = k
	}
	return m
}

// targets are the types that an element may refer to, where a report's record
// uses it and R4 restricts it (http://hl7.org/fhir/R4/, each resource's page).
var targets = map[string]string{
	"Observation.subject":                      "Patient Group Device Location",
	"Observation.encounter":                    "Encounter",
	"Observation.specimen":                     "Specimen",
	"Observation.device":                       "Device DeviceMetric",
	"Observation.performer":                    "Practitioner PractitionerRole Organization CareTeam Patient RelatedPerson",
	"Observation.partOf":                       "MedicationAdministration MedicationDispense MedicationStatement Procedure Immunization ImagingStudy",
	"Observation.hasMember":                    "Observation QuestionnaireResponse MolecularSequence",
	"Observation.derivedFrom":                  "DocumentReference ImagingStudy Media QuestionnaireResponse Observation MolecularSequence",
	"Procedure.subject":                        "Patient Group",
	"Procedure.encounter":                      "Encounter",
	"Procedure.partOf":                         "Procedure Observation MedicationAdministration",
	"Procedure.reasonReference":                "Condition Observation Procedure DiagnosticReport DocumentReference",
	"Procedure.report":                         "DiagnosticReport DocumentReference Composition",
	"Procedure.complicationDetail":             "Condition",
	"Procedure.usedReference":                  "Device Medication Substance",
	"DiagnosticReport.subject":                 "Patient Group Device Location",
	"DiagnosticReport.encounter":               "Encounter",
	"DiagnosticReport.specimen":                "Specimen",
	"DiagnosticReport.result":                  "Observation",
	"DiagnosticReport.media.link":              "Media",
	"Condition.subject":                        "Patient Group",
	"Condition.encounter":                      "Encounter",
	"BodyStructure.patient":                    "Patient",
	"Specimen.subject":                         "Patient Group Device Substance Location",
	"Specimen.parent":                          "Specimen",
	"Media.encounter":                          "Encounter",
	"MedicationAdministration.subject":         "Patient Group",
	"MedicationAdministration.partOf":          "MedicationAdministration Procedure",
	"MedicationAdministration.context":         "Encounter EpisodeOfCare",
	"AdverseEvent.subject":                     "Patient Group Practitioner RelatedPerson",
	"AdverseEvent.encounter":                   "Encounter",
	"AdverseEvent.resultingCondition":          "Condition",
	"ServiceRequest.subject":                   "Patient Group Location Device",
	"ServiceRequest.encounter":                 "Encounter",
	"ServiceRequest.requester":                 "Practitioner PractitionerRole Organization Patient RelatedPerson Device",
	"AdverseEvent.suspectEntity.instance":      "Immunization Procedure Substance Medication MedicationAdministration MedicationStatement Device",
	"DiagnosticReport.performer":               "Practitioner PractitionerRole Organization CareTeam",
	"DiagnosticReport.resultsInterpreter":      "Practitioner PractitionerRole Organization CareTeam",
	"Procedure.performer.actor":                "Practitioner PractitionerRole Organization Patient RelatedPerson Device",
	"MedicationAdministration.performer.actor": "Practitioner PractitionerRole Patient RelatedPerson Device",
	"Encounter.subject":                        "Patient Group",
	"Provenance.agent.who":                     "Practitioner PractitionerRole RelatedPerson Patient Device Organization",
	"Procedure.basedOn":                        "CarePlan ServiceRequest",
	"DiagnosticReport.basedOn":                 "CarePlan ImmunizationRecommendation MedicationRequest NutritionOrder ServiceRequest",
	"Procedure.focalDevice.manipulated":        "Device",
	"Specimen.collection.collector":            "Practitioner PractitionerRole",
	"Media.subject":                            "Patient Practitioner PractitionerRole Group Device Specimen Location",
	"Condition.stage.assessment":               "ClinicalImpression DiagnosticReport Observation",
	"DiagnosticReport.imagingStudy":            "ImagingStudy",
	"MedicationAdministration.reasonReference": "Condition Observation DiagnosticReport",
	"ServiceRequest.reasonReference":           "Condition Observation DiagnosticReport DocumentReference",
}

// checkResource refuses what misses a required element or has what its type does
// not allow.
func checkResource(tree map[string]any) *refusal {
	name, _ := tree["resourceType"].(string)
	for _, element := range kinds[name].required {
		if n := occurs(tree, element); n != 1 {
			return &refusal{http.StatusUnprocessableEntity, "required", "a required element is missing, or a choice is there twice", name + "." + strings.TrimSuffix(element, "[x]")}
		}
	}
	return checkContent(name, tree)
}

func occurs(tree map[string]any, element string) int {
	choice, isChoice := strings.CutSuffix(element, "[x]")
	n := 0
	for k := range tree {
		if k == element || (isChoice && strings.HasPrefix(k, choice) && len(k) > len(choice) && k[len(choice)] >= 'A' && k[len(choice)] <= 'Z') {
			n++
		}
	}
	return n
}
