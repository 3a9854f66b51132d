package delivery

import (
	"fmt"
	"time"

	"enbloc/server/store"
	"enbloc/server/target"
)

// Effect is what happened to one resource of a case on a target.
type Effect string

// The effects.
const (
	// Created: it was not there and is now.
	Created Effect = "created"
	// Found: it was there already, as it should be.
	Found Effect = "found"
	// Updated: it has a new version.
	Updated Effect = "updated"
	// Unchanged: the ledger knows that it stands; nothing was sent.
	Unchanged Effect = "unchanged"
	// Voided: the present state has it no more; it is marked entered in error.
	Voided Effect = "voided"
	// Deleted: it is gone, because the case was taken back.
	Deleted Effect = "deleted"
)

// Effects lists all of them.
func Effects() []Effect { return []Effect{Created, Found, Updated, Unchanged, Voided, Deleted} }

// Item is what happened to one resource.
type Item struct {
	Role   string `json:"role"`
	Key    string `json:"key"`
	Type   string `json:"type"`
	Effect Effect `json:"effect"`
	// ServerID and Version are the target's own.
	ServerID string `json:"server_id,omitempty"`
	Version  string `json:"version,omitempty"`
	// Verified is true when it was read back.
	Verified bool `json:"verified"`
	// Differences are between what was sent and what was read back.
	Differences []Difference `json:"differences,omitempty"`
}

// Result is what one delivery did.
type Result struct {
	CaseKey  string `json:"case_key"`
	Sequence int    `json:"sequence"`
	Items    []Item `json:"items"`
	// HTTPStatus and RequestID are those of the last request that wrote; zero
	// when nothing had to be sent.
	HTTPStatus int    `json:"http_status,omitempty"`
	RequestID  string `json:"request_id,omitempty"`
	// Doubles are copies under keys of the case that were marked as entered in
	// error, because the reports name others.
	Doubles []Item `json:"doubles,omitempty"`
	// Removal is set when the case was taken back instead of delivered.
	Removal *Removal `json:"removal,omitempty"`

	// learned is what stands and is in no ledger yet, complete the state that
	// stands with it; 0 when there is nothing to record.
	learned  []store.LedgerEntry
	complete int
}

// Count is how many resources had the effect.
func (r Result) Count(e Effect) int {
	n := 0
	for _, i := range r.Items {
		if i.Effect == e {
			n++
		}
	}
	return n
}

// Alarms are the differences that mean a loss: what a target only added is not
// among them.
func (r Result) Alarms() []Difference {
	var all []Difference
	for _, i := range r.Items {
		for _, d := range i.Differences {
			if d.Kind != Added {
				all = append(all, d)
			}
		}
	}
	return all
}

// Problem is one thing that a target found wrong, in terms of the case.
type Problem struct {
	// Role says which part of the case; empty when the target did not say.
	Role string `json:"role,omitempty"`
	// Located is true when the target named no part and it was found by having
	// each checked alone.
	Located bool `json:"located,omitempty"`
	// Report are the JSON Pointers (RFC 6901) of what the part says of the
	// sender's report; empty when it is not known.
	Report []string `json:"report,omitempty"`
	// Path is the element, as FHIRPath.
	Path     string `json:"path,omitempty"`
	Severity string `json:"severity"`
	Code     string `json:"code"`
	Hint     string `json:"hint,omitempty"`
}

// Reason is a fixed word for why a delivery did not succeed.
type Reason string

// The reasons, with the sentences of [Reason.Sentence].
const (
	WaitingForPatient  Reason = "waiting-for-patient"
	PatientAmbiguous   Reason = "patient-ambiguous"
	PatientMerged      Reason = "patient-merged"
	PatientInactive    Reason = "patient-inactive"
	ReferenceMissing   Reason = "reference-missing"
	ChangedByOthers    Reason = "changed-by-others"
	DeletedByOthers    Reason = "deleted-by-others"
	Doubled            Reason = "doubled"
	OtherContent       Reason = "other-content"
	LostRace           Reason = "lost-race"
	Refused            Reason = "refused"
	CredentialsRefused Reason = "credentials-refused"
	TargetCannot       Reason = "target-cannot"
	TargetBusy         Reason = "target-busy"
	NoAnswer           Reason = "no-answer"
	NotReadBack        Reason = "not-read-back"
	LaterDelivered     Reason = "later-state-delivered"
	ContentInvalid     Reason = "content-invalid"
	OurMistake         Reason = "our-mistake"
	BudgetSpent        Reason = "budget-spent"
	UnknownTarget      Reason = "unknown-target"
	FolderNotWritable  Reason = "folder-not-writable"
	CircuitOpen        Reason = "target-given-a-rest"
	AskedToWait        Reason = "target-asked-to-wait"
	PatientMismatch    Reason = "patient-mismatch"
	WrongAudience      Reason = "wrong-audience"
	ConsentUnknown     Reason = "consent-unknown"
	Withheld           Reason = "withheld"
	NotRemoved         Reason = "not-removed"
)

var sentences = map[Reason]string{
	WaitingForPatient:  "The target has no patient with this identifier. The delivery waits and is tried again until the patient is registered there.",
	PatientAmbiguous:   "The target has several patients with this identifier. Have them merged there, then resend.",
	PatientMerged:      "The target says that this patient record was replaced by another. Correct the patient identifier in the report.",
	PatientInactive:    "The target says that this patient record is inactive. Have it checked there, then resend.",
	ReferenceMissing:   "The target misses something that the record refers to. The delivery waits and is tried again.",
	ChangedByOthers:    "Somebody else has changed the record on the target. Nothing was overwritten. Compare, then resend or skip.",
	DeletedByOthers:    "Somebody else has deleted a part of the record on the target. Nothing was restored. Ask there, then resend or skip.",
	Doubled:            "The target holds more than one resource under one of our keys, and the reports there do not say which is meant, or the copies differ. Have the double removed there or marked as entered in error, then resend.",
	OtherContent:       "The target holds a resource under one of our keys whose content we did not write. Nothing was overwritten.",
	LostRace:           "The target was changing the same record at the same moment. The delivery is tried again.",
	Refused:            "The target refused the content. See which part and element; correct the report and send it again.",
	CredentialsRefused: "The target did not accept our credentials, or they do not allow this. Check token, password and permissions.",
	TargetCannot:       "The target does not offer the interaction. Check the address of its FHIR base and what it supports.",
	TargetBusy:         "The target asked for patience. The delivery is tried again.",
	NoAnswer:           "The target gave no usable answer; the record may have arrived. The target is read before anything is sent again.",
	NotReadBack:        "The record was written but could not be read back yet. Reading is tried again.",
	LaterDelivered:     "A later state of the case stands on the target.",
	ContentInvalid:     "The state of the case cannot be turned into a record.",
	OurMistake:         "The service made a mistake. The delivery is tried again; see the log.",
	BudgetSpent:        "The delivery was tried for as long as is allowed. Mend what the last attempt names, then resend.",
	FolderNotWritable:  "The folder for files cannot be written. Check that it exists, that the service may write there, and that the disk is not full.",
	CircuitOpen:        "The target has failed several times in a row and is left alone for a while. Nothing was sent; the delivery goes on as soon as the target answers.",
	AskedToWait:        "The target has asked everybody to wait for a while. Nothing was sent; the delivery goes on by itself after that.",
	PatientMismatch:    "The target's patient with this identifier is not of the age that the report says. Nothing was sent. Check the identifier in the report.",
	WrongAudience:      "The target must not get this: it is test data for a target with real patients, or a patient's data for a target for tests. Check the report's test_data and the setting of the target.",
	ConsentUnknown:     "Nobody could say whether the patient agrees that this is sent. Nothing was sent, and it is asked again. See the log, and check the list or the address that is asked.",
	Withheld:           "The patient does not agree that this is sent. It is asked again from time to time.",
	NotRemoved:         "The case has to be taken back, and the target neither deletes it nor lets it be marked as entered in error. Have it removed there, then resend.",
	UnknownTarget:      "The configuration has no target of this name any more. The delivery waits for it.",
}

// Sentence is the reason for people: what happened, why, what to do.
func (r Reason) Sentence() string { return sentences[r] }

// Failure is why a delivery did not succeed. It holds no patient data.
type Failure struct {
	Class  target.Class
	Reason Reason
	// After is how long the target asked to wait.
	After time.Duration
	// Status and RequestID are those of the answer; 0 when there was none.
	Status    int
	RequestID string
	// Uncertain is true when the target may hold what was sent.
	Uncertain bool
	// Writing is true when it was a write that was refused.
	Writing bool
	// Problems and Conflicts say which part of the case and which element.
	Problems  []Problem
	Conflicts []Difference
	// Cause is for the log.
	Cause error
}

// Error is the text for the log.
func (f *Failure) Error() string {
	text := fmt.Sprintf("delivering case: %s (%s, status %d)", f.Reason, f.Class, f.Status)
	if f.Cause != nil {
		text += ": " + f.Cause.Error()
	}
	return text
}

// Unwrap gives the cause to errors.Is and errors.As.
func (f *Failure) Unwrap() error { return f.Cause }
