package target

import (
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Class is what an answer means for the delivery.
type Class string

// The classes. Each is a metric label, so there are few.
const (
	// Done: the target has it; read the entries.
	Done Class = "done"
	// Retry: the target did not take it and asks for patience.
	Retry Class = "retry"
	// Unknown: the target may have it; read before sending again.
	Unknown Class = "unknown"
	// Permanent: the same bytes will be refused for ever.
	Permanent Class = "permanent"
	// Conflict: the record is not as the sender assumed; read it.
	Conflict Class = "conflict"
	// StepDown: the target cannot do this interaction.
	StepDown Class = "stepDown"
	// Auth: the target does not accept who we are, or what we may.
	Auth Class = "auth"
	// Park: something that belongs to the hospital is missing at the target.
	Park Class = "park"
)

// Classes lists all of them.
func Classes() []Class {
	return []Class{Done, Retry, Unknown, Permanent, Conflict, StepDown, Auth, Park}
}

// Reaction is a class with the target's own wish for the wait.
type Reaction struct {
	Class Class
	// After is the wait that the target asked for; zero when it did not.
	After time.Duration
}

// longestWait caps what a target can ask for: a Retry-After of a year is a
// mistake, and a row that sleeps so long looks lost.
const longestWait = time.Hour

// React turns an answer into a class. Status 0 means that no answer came after
// the request was (perhaps) sent. now serves Retry-After in its date form.
//
// The status says less than the standard promises. Measured: a lost race or a
// stale version is 409 on one server, 412 on others, 400 inside a transaction
// on a third, and 200 around a failed entry on a fourth. So Conflict and, where
// the request carried conditions, Permanent too are for the caller to settle by
// reading the record.
func React(status int, header http.Header, issues Issues, now time.Time) Reaction {
	r := Reaction{Class: classOf(status)}
	switch {
	case status >= 400 && status < 500 && (issues.HasHint("referential integrity") || issues.HasHint("reference not found")),
		status == http.StatusConflict && issues.HasCode("not-found"):
		// A reference to what is not there: 400, 404 or 409, as the server likes.
		r.Class = Park
	case r.Class == Permanent && issues.HasCode("conflict", "duplicate", "multiple-matches"), r.Class == Permanent && issues.HasHint("version is not current"):
		r.Class = Conflict
	case r.Class == Permanent && issues.HasCode("throttled", "transient", "lock-error", "timeout"):
		r.Class = Retry
	}
	// 202 promises that it will be done, and whoever asks hears of it: see Polled.
	// Here nobody heard: when to look is for the target to say.
	if r.Class == Retry || status == http.StatusAccepted {
		r.After = RetryAfter(header, now)
	}
	return r
}

// exact are the statuses that mean something of their own.
var exact = map[int]Class{
	200: Done, 201: Done, 204: Done,
	// 304: the answer of some servers to a conditional create that matched.
	304: Done,
	401: Auth, 403: Auth, 407: Auth, 511: Auth,
	404: StepDown, 405: StepDown, 406: StepDown, 415: StepDown, 426: StepDown, 428: StepDown, 501: StepDown, 505: StepDown,
	408: Unknown, 425: Retry, 423: Retry, 429: Retry, 503: Retry, 507: Retry,
	409: Conflict, 410: Conflict, 412: Conflict,
}

func classOf(status int) Class {
	if c, ok := exact[status]; ok {
		return c
	}
	switch {
	case status < 300: // nothing at all, 1xx, and the 2xx that promise nothing yet (202)
		return Unknown
	case status < 400: // a redirect is never followed with patient data
		return Retry
	case status < 500:
		return Permanent
	}
	return Unknown
}

// Polled turns an answer at the place where a target that said 202 tells the
// outcome into a class (https://hl7.org/fhir/R5/async-bundle.html). Done: the
// outcome is in the answer. Retry: it is not there yet, or asking failed for now.
// Permanent, Conflict and Park: the target refuses what it had accepted. Unknown:
// what is told says nothing of the request, such as a page of a proxy or a place
// that is gone; the record has to be read.
func Polled(status int, header http.Header, issues Issues, now time.Time) Reaction {
	switch {
	case status == http.StatusOK, status == http.StatusCreated, status == http.StatusNoContent:
		return Reaction{Class: Done}
	case status == http.StatusAccepted, status == http.StatusTooManyRequests, status == http.StatusServiceUnavailable,
		status >= 400 && issues.HasCode("transient"):
		return Reaction{Class: Retry, After: RetryAfter(header, now)}
	case len(issues) == 0:
		return Reaction{Class: Unknown}
	}
	switch status {
	case http.StatusBadRequest, http.StatusConflict, http.StatusPreconditionFailed, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
		if r := React(status, header, issues, now); r.Class != Retry {
			return r
		}
	}
	return Reaction{Class: Unknown}
}

// RetryAfter reads the wait that a target asks for: Retry-After in seconds or
// as a date (RFC 9110, section 10.2.3), or x-ms-retry-after-ms. It is at least
// zero and at most an hour.
func RetryAfter(header http.Header, now time.Time) time.Duration {
	if ms, err := strconv.ParseInt(header.Get("X-Ms-Retry-After-Ms"), 10, 64); err == nil {
		return capped(ms, time.Millisecond)
	}
	value := strings.TrimSpace(header.Get("Retry-After"))
	if s, err := strconv.ParseInt(value, 10, 64); err == nil {
		return capped(s, time.Second)
	}
	if at, err := http.ParseTime(value); err == nil {
		return min(max(at.Sub(now), 0), longestWait)
	}
	return 0
}

// capped multiplies without overflow.
func capped(n int64, unit time.Duration) time.Duration {
	switch {
	case n <= 0:
		return 0
	case n > int64(longestWait/unit):
		return longestWait
	}
	return time.Duration(n) * unit
}
