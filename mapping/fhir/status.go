package fhir

import (
	"errors"
	"slices"

	"enbloc/mapping/report"
)

// Status codes that are written in more than one place.
const (
	preliminary    = "preliminary"
	final          = "final"
	amended        = "amended"
	corrected      = "corrected"
	appended       = "appended"
	active         = "active"
	completed      = "completed"
	enteredInError = "entered-in-error"
)

// StatusRow is what one state of a document gives the resources that come from
// it. A status that the document does not decide is empty.
type StatusRow struct {
	// Document is "report" (the endoscopist's) or "histology" (the pathologist's).
	Document string
	// State is the document's own word for it: a report.Status or a
	// report.HistologyStatus.
	State string
	// Observation is the status of the document's facts, an R4
	// observation-status (hl7.org/fhir/R4/valueset-observation-status.html).
	Observation string
	// DiagnosticReport is that of the report which shows them, an R4
	// diagnostic-report-status (hl7.org/fhir/R4/valueset-diagnostic-report-status.html).
	DiagnosticReport string
	// ServiceRequest is that of what is planned, an R4 request-status
	// (hl7.org/fhir/R4/valueset-request-status.html).
	ServiceRequest string
	// Activity is our own concept for Provenance.activity.
	Activity string
}

// statusMatrix is the one place where a document's state becomes a status.
var statusMatrix = []StatusRow{
	{"report", string(report.Draft), preliminary, preliminary, "draft", "activity-draft"},
	{"report", string(report.Signed), final, final, active, "activity-first-delivery"},
	{"report", string(report.Amended), amended, amended, active, "activity-amendment"},
	{"report", string(report.Corrected), corrected, corrected, active, "activity-correction"},
	{"report", string(report.Withdrawn), enteredInError, enteredInError, enteredInError, "activity-withdrawal"},
	{"histology", string(report.HistologyPreliminary), preliminary, preliminary, "", "activity-histology"},
	{"histology", string(report.HistologyFinal), final, final, "", "activity-histology"},
	{"histology", string(report.HistologyAmended), amended, amended, "", "activity-histology"},
	{"histology", string(report.HistologyCorrected), corrected, corrected, "", "activity-histology"},
}

// StatusMatrix is what each state of each document gives its resources. Six
// rules stand beside it:
//
//   - A signed report that histology or an event was added to later is
//     "appended": it grew, and nothing in it was changed.
//   - Of an amended or corrected report only what the revision changed is amended
//     or corrected; what it left as it was keeps status and time of issue.
//   - What rests on several documents is no further than the least settled of
//     them; a summary that still waits for a specimen is "partial".
//   - A procedure that was done is completed whatever the state of the paper
//     about it, and stopped when it was given up.
//   - A withdrawn report voids every resource of the case but Provenances and
//     shared Devices, see [Void]; a retracted event voids its own.
//   - Every step is a new version of the same resource, never a second one.
func StatusMatrix() []StatusRow { return slices.Clone(statusMatrix) }

var errState = errors.New("a document has a status that is not one of its states")

// statusesOf finds the row of a document's state.
func statusesOf(document, state string) (StatusRow, error) {
	for _, row := range statusMatrix {
		if row.Document == document && row.State == state {
			return row, nil
		}
	}
	return StatusRow{}, errState
}

// histologyStatus is the status of the pathologist's findings, as Observations
// and as a report.
func histologyStatus(s report.HistologyStatus) (string, error) {
	row, err := statusesOf("histology", string(s))
	return row.Observation, err
}

// appendedTo is the status of a signed report that histology or an event has
// since been added to: nothing in it was changed (R4: "appended").
func appendedTo(status string, grew bool) string {
	if status == final && grew {
		return appended
	}
	return status
}

// least is the status of what rests on several parts: it is no further than
// the least settled of them.
func least(list ...string) string {
	rank := map[string]int{preliminary: 1, corrected: 2, amended: 3, final: 4}
	out := final
	for _, s := range list {
		if rank[s] < rank[out] {
			out = s
		}
	}
	return out
}
