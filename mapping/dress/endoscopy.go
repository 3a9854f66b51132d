package dress

import (
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// The Japanese core guide describes endoscopy in profiles of its own (JP Core,
// https://jpfhir.jp/fhir/core/, JP_Observation_Endoscopy and
// JP_DiagnosticReport_Endoscopy): an Observation has two categories, the second
// of them the LOINC part for endoscopy, and a report has that part first. Its
// report knows no other status than preliminary and final; ours keeps the truth
// about amendments, so no profile is claimed.
var _ = register(Dressing{
	Name:  "endoscopy-core",
	Title: "categories of endoscopy as in the Japanese core guide",
	apply: func(g graph.Graph) (graph.Graph, error) {
		return edit(g, endoscopyCategory, "Observation")
	},
})

const (
	loinc               = "http://loinc.org"
	endoscopyPart       = "LP7796-8" // no English display of the part could be confirmed, so none is sent
	observationCategory = "http://terminology.hl7.org/CodeSystem/observation-category"
)

// endoscopyCategory puts the part behind the category "procedure". Findings of
// the laboratory are no endoscopy and stay as they are.
func endoscopyCategory(_ graph.Resource, o *model.Object) bool {
	had := list(o, "category")
	if !codes(had, observationCategory, "procedure") || codes(had, loinc, endoscopyPart) {
		return false
	}
	part := object("coding", []any{object("system", loinc, "code", endoscopyPart)})
	o.Set("category", append([]any{had[0], part}, had[1:]...))
	return true
}
