package fhir

import (
	"fmt"

	"enbloc/mapping/report"
)

// statuses are the R4 codes that one state of a document gives its resources.
type statuses struct {
	observation string // hl7.org/fhir/R4/valueset-observation-status.html
	report      string // hl7.org/fhir/R4/valueset-diagnostic-report-status.html
	request     string // hl7.org/fhir/R4/valueset-request-status.html
	activity    string // our own concept for Provenance.activity
}

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

// endoscopyStatuses is the status matrix of the endoscopy report. A procedure
// that was done is completed whatever the state of the paper about it. A
// withdrawn report is mapped as it stood and then voided as a whole.
func endoscopyStatuses(s report.Status) (statuses, error) {
	switch s {
	case report.Draft:
		return statuses{preliminary, preliminary, "draft", "activity-draft"}, nil
	case report.Signed:
		return statuses{final, final, active, "activity-first-delivery"}, nil
	case report.Amended:
		return statuses{amended, amended, active, "activity-amendment"}, nil
	case report.Corrected:
		return statuses{corrected, corrected, active, "activity-correction"}, nil
	case report.Withdrawn:
		return statuses{final, final, active, "activity-withdrawal"}, nil
	}
	return statuses{}, fmt.Errorf("the report has a status that is not one of its states")
}

// histologyStatus is the status of the pathologist's findings, as Observations
// and as a report.
func histologyStatus(s report.HistologyStatus) (string, error) {
	switch s {
	case report.HistologyPreliminary:
		return preliminary, nil
	case report.HistologyFinal:
		return final, nil
	case report.HistologyAmended:
		return amended, nil
	case report.HistologyCorrected:
		return corrected, nil
	}
	return "", fmt.Errorf("a histology has a status that is not one of its states")
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
