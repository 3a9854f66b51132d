package fault

import (
	"net/http"
	"time"
)

// Kind is a class of fault. The zero value is Internal, so a fault whose kind
// was forgotten blames us and not the caller.
type Kind int

// The kinds, each with one row in the table below.
const (
	// Internal is anything we did not foresee.
	Internal Kind = iota
	// Invalid is a request that could be read but whose content was refused.
	Invalid
	// Malformed is a request that could not be read.
	Malformed
	// Unauthenticated is a caller who did not say who he is.
	Unauthenticated
	// Forbidden is a caller who may not do this.
	Forbidden
	// NotFound is a subject that does not exist.
	NotFound
	// Conflict is a request that contradicts what is stored.
	Conflict
	// TooLarge is a request beyond a size limit.
	TooLarge
	// Busy is a limit of ours that was reached; waiting helps.
	Busy
	// Unavailable is a part of ours that does not work at the moment.
	Unavailable
	kinds // keep last: the number of kinds
)

// row is what HTTP and FHIR say for a kind. Issue codes are of the FHIR R4
// value set issue-type (http://hl7.org/fhir/R4/valueset-issue-type.html).
type row struct {
	name       string
	status     int
	issue      string
	retryAfter time.Duration
	sentence   string
}

var rows = [kinds]row{
	Internal: {"internal", http.StatusInternalServerError, "exception", 0,
		"The service made a mistake. Nothing was stored. Quote the request id to the people who run it."},
	Invalid: {"invalid", http.StatusUnprocessableEntity, "invalid", 0,
		"The content was refused. Correct what the findings name and send it again."},
	Malformed: {"malformed", http.StatusBadRequest, "structure", 0,
		"The request could not be read. Check its format and send it again."},
	Unauthenticated: {"unauthenticated", http.StatusUnauthorized, "login", 0,
		"The request names no valid credentials. Send the bearer token."},
	Forbidden: {"forbidden", http.StatusForbidden, "forbidden", 0,
		"These credentials do not allow this. Ask the people who run the service."},
	NotFound: {"not found", http.StatusNotFound, "not-found", 0,
		"There is nothing under this address or key. Check it."},
	Conflict: {"conflict", http.StatusConflict, "conflict", 0,
		"The request contradicts what is stored. Read the present state first."},
	TooLarge: {"too large", http.StatusRequestEntityTooLarge, "too-long", 0,
		"The request is larger than the limit. Send less."},
	Busy: {"busy", http.StatusTooManyRequests, "throttled", 5 * time.Second,
		"Too much is waiting already. Send the same request again later."},
	Unavailable: {"unavailable", http.StatusServiceUnavailable, "transient", 10 * time.Second,
		"The service cannot store anything at the moment. Nothing was accepted. Send the same request again later."},
}

// Kinds lists every kind, for tables and tests that must leave none out.
func Kinds() []Kind {
	all := make([]Kind, kinds)
	for i := range all {
		all[i] = Kind(i)
	}
	return all
}

// known turns a number that is no kind into Internal.
func (k Kind) known() Kind {
	if k < 0 || k >= kinds {
		return Internal
	}
	return k
}

// String is the kind in plain words, for logs and metric labels.
func (k Kind) String() string { return rows[k.known()].name }

// Status is the HTTP status that answers a fault of this kind.
func (k Kind) Status() int { return rows[k.known()].status }

// IssueCode is the code of OperationOutcome.issue for this kind.
func (k Kind) IssueCode() string { return rows[k.known()].issue }

// Sentence is what a caller reads when the fault has no message of its own.
func (k Kind) Sentence() string { return rows[k.known()].sentence }
