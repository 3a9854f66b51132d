package intake

import (
	"enbloc/mapping/report"
	"enbloc/server/fault"
)

// Rejection is a document refused for its content, with every finding that
// could be made.
type Rejection struct {
	Findings []report.Finding
	// Malformed: the bytes are no JSON of the kind we read, so nothing could be
	// checked against the schema.
	Malformed bool
}

// Error is for the log and says nothing about the content.
func (r *Rejection) Error() string { return "document rejected: " + r.Unwrap().Error() }

// Unwrap gives the rejection its fault.
func (r *Rejection) Unwrap() error {
	if r.Malformed {
		return fault.New(fault.Malformed, "The document could not be read as JSON, so nothing in it was checked. Correct what the findings name and send it again.")
	}
	return fault.New(fault.Invalid, "The document has errors and was not accepted. Correct what the findings name and send it again.")
}

// The sentences of every conflict: what happened, why, what to do.
const (
	olderRevision = "A newer revision of this document was accepted before. An older one changes nothing. " +
		"If this content is meant to count, send it under a higher revision number."
	sameRevisionOtherContent = "This revision was accepted before with other content, and one revision has one content. " +
		"Send the change under the next revision number."
	withdrawnCase = "The report of this case was withdrawn, which voids the case for good. " +
		"Send a new report under a report id of its own."
	draftAgain = "The report was signed before, and a signed report cannot become a draft again. " +
		"Send the change as amended or corrected."
	otherPatient = "This revision names another patient than the revision before. A case never moves to another patient. " +
		"Withdraw the report, then send it under a new report id for the right patient."
	severalCases = "The identifiers of this part fit several cases, and which one is meant is not guessed. " +
		"Name the report id, or identifiers that only one case has."
	contradiction = "One identifier of this part fits a case, another contradicts that case, and nothing is guessed. " +
		"Check report id and order, and send only identifiers that belong to the case."
	otherCase = "An earlier revision of this part belongs to another case. A part never moves between cases. " +
		"Withdraw the part, then send it under a new part id for the right case."
	orphanedPart = "A part joined to this case was found by an identifier that this revision of the report no longer has. " +
		"If the part belongs to another case, let its sender withdraw it first; then send this revision again."
)

func conflict(message string) error { return fault.New(fault.Conflict, message) }

// Unmappable is the fault for a case that cannot be mapped although its
// documents were sound. The mapper's errors hold nothing of the report, so the
// log may have them.
func Unmappable(cause error) error { return unmappable(fault.Internal, cause) }

func unmappable(kind fault.Kind, cause error) error {
	return &fault.Error{Op: "mapping case", Kind: kind, Cause: cause,
		Message: "The document is sound, but no valid FHIR record could be made of it, so it was not accepted. " +
			"This is a mistake of the service: quote the request id to the people who run it."}
}
