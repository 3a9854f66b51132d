// Package fhir turns a report and what the rules say about it into one graph
// of FHIR R4 resources, and a graph into a transaction Bundle.
//
// [Map] is a pure function: the same report, results and options give the same
// bytes. Identities are keyed hashes of stable paths (see [CaseKey]), times are
// the report's own, and the order of what has no order does not matter.
//
// What is said in the report is sent, what is not said is not. A stated
// absence becomes a dataAbsentReason; a field left out becomes nothing. Codes
// come from the tables of package term only, and every graph is checked by
// [Validate] before it leaves.
//
// How the case is modelled: the session and each resection are Procedures;
// steps that are billed or counted on their own (haemostasis, coagulation of
// the base, closure) are child Procedures. A lesion is a BodyStructure and a
// Condition. Facts are Observations, grouped in panels by hasMember. What a
// rule derived is an Observation with the rule as method and derivedFrom every
// input. An adverse event is an AdverseEvent, mirrored in a Condition. Two
// DiagnosticReports, endoscopy and the summary of histology, make it visible;
// a Provenance per part says who said it.
package fhir
