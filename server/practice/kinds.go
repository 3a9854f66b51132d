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
	required string
	// statuses are the codes of the required binding of status.
	statuses string
}

// kinds is from the R4 resource definitions (http://hl7.org/fhir/R4/), the
// minimum cardinalities and required bindings of the types in use.
var kinds = byName(
	kind{"Patient", true, "", "", ""},
	kind{"Practitioner", true, "", "", ""},
	kind{"PractitionerRole", true, "", "", ""},
	kind{"Organization", true, "", "", ""},
	kind{"Location", true, "", "", "active suspended inactive"},
	kind{"Encounter", true, "subject", "status class", "planned arrived triaged in-progress onleave finished cancelled entered-in-error unknown"},
	kind{"ServiceRequest", true, "subject", "status intent subject", "draft active on-hold revoked completed entered-in-error unknown"},
	kind{"Procedure", true, "subject", "status subject", "preparation in-progress not-done on-hold stopped completed entered-in-error unknown"},
	kind{"Condition", true, "subject", "subject", ""},
	kind{"BodyStructure", true, "patient", "patient", ""},
	kind{"Observation", true, "subject", "status code", "registered preliminary final amended corrected cancelled entered-in-error unknown"},
	kind{"DiagnosticReport", true, "subject", "status code", "registered partial preliminary final amended corrected appended cancelled entered-in-error unknown"},
	kind{"Specimen", true, "subject", "", "available unavailable unsatisfactory entered-in-error"},
	kind{"Device", true, "patient", "", "active inactive entered-in-error unknown"},
	kind{"Media", true, "subject", "status content", "preparation in-progress not-done on-hold stopped completed entered-in-error unknown"},
	kind{"DocumentReference", true, "subject", "status content", "current superseded entered-in-error"},
	kind{"MedicationAdministration", true, "subject", "status medication[x] subject effective[x]", "in-progress not-done on-hold completed entered-in-error stopped unknown"},
	kind{"AdverseEvent", false, "subject", "actuality subject", ""},
	kind{"CarePlan", true, "subject", "status intent subject", "draft active on-hold revoked completed entered-in-error unknown"},
	kind{"Provenance", false, "", "target recorded agent", ""},
)

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

// checkResource refuses what misses a required element or has a code outside a
// required binding. The real server, as it comes, refuses the code only; a
// receiver for practice that took less than the standard asks would teach wrong.
func checkResource(tree map[string]any) *refusal {
	name, _ := tree["resourceType"].(string)
	k := kinds[name]
	for _, element := range strings.Fields(k.required) {
		if n := occurs(tree, element); n != 1 {
			return &refusal{http.StatusUnprocessableEntity, "required", "a required element is missing, or a choice is there twice", name + "." + strings.TrimSuffix(element, "[x]")}
		}
	}
	if status, ok := tree["status"]; ok && k.statuses != "" {
		text, _ := status.(string)
		if !slices.Contains(strings.Fields(k.statuses), text) {
			return &refusal{http.StatusBadRequest, "value", "a code that the element does not allow", name + ".status"}
		}
	}
	return nil
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
