package server

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"enbloc/mapping/report"
	"enbloc/server/fault"
	"enbloc/server/intake"
)

// problemBase is where the types of problems are named.
const problemBase = "https://enbloc.example/problems/"

const (
	mediaJSON    = "application/json"
	mediaProblem = "application/problem+json"
	mediaFHIR    = "application/fhir+json"
	mediaHTML    = "text/html"
)

// problem is an error as RFC 9457 has it, with our findings.
type problem struct {
	Type      string           `json:"type"`
	Title     string           `json:"title"`
	Status    int              `json:"status"`
	Detail    string           `json:"detail"`
	RequestID string           `json:"request_id"`
	Findings  []report.Finding `json:"findings,omitempty"`

	issue      string // FHIR issue type
	retryAfter time.Duration
}

// refusal is an error that only HTTP knows, such as a wrong media type. Its
// issue code is of the FHIR R4 value set issue-type.
type refusal struct {
	status              int
	slug, issue, detail string
}

func (r *refusal) Error() string { return r.detail }

// describe is the one place where errors become what callers read.
func describe(err error) problem {
	var refused *refusal
	if errors.As(err, &refused) {
		return problem{Type: problemBase + refused.slug, Title: http.StatusText(refused.status), Status: refused.status,
			Detail: refused.detail, issue: refused.issue}
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		// The caller went away, or the work took too long: nobody's mistake.
		err = fault.New(fault.Unavailable, "")
	}
	kind := fault.KindOf(err)
	p := problem{Type: problemBase + strings.ReplaceAll(kind.String(), " ", "-"), Title: http.StatusText(kind.Status()),
		Status: kind.Status(), Detail: fault.Message(err), issue: kind.IssueCode(), retryAfter: fault.RetryAfter(err)}
	var rejected *intake.Rejection
	if errors.As(err, &rejected) {
		p.Findings = rejected.Findings
	}
	return p
}

// fail answers with the error and ends the request.
func (s *Server) fail(c *gin.Context, err error) {
	p := describe(err)
	p.RequestID = requestID(c)
	if (p.Status >= http.StatusInternalServerError || unmapped(err)) && !errors.Is(err, context.Canceled) {
		s.o.Logger.ErrorContext(c.Request.Context(), "request failed", "request_id", p.RequestID, "route", route(c), "error", loggable(err))
	}
	if p.retryAfter > 0 {
		c.Header("Retry-After", strconv.Itoa(int(max(time.Second, p.retryAfter)/time.Second)))
	}
	if p.Status == http.StatusUnauthorized {
		c.Header("WWW-Authenticate", `Bearer realm="enbloc"`)
	}
	c.Abort()
	if c.NegotiateFormat(mediaProblem, mediaJSON, mediaFHIR) == mediaFHIR {
		write(c, p.Status, mediaFHIR, outcomeOf(p))
		return
	}
	write(c, p.Status, mediaProblem, p)
}

// unmapped reports whether a stored case could not be mapped any more. The
// caller is told 422, as for content, but the mistake is ours and has a cause.
func unmapped(err error) bool {
	var f *fault.Error
	return fault.Is(err, fault.Invalid) && errors.As(err, &f) && f.Cause != nil
}

// loggable is what the log may say about an error. The faults of our own
// packages keep patient data out of their texts; of anything else, only the
// types are told, as a text that we did not write may quote what it was given.
func loggable(err error) string {
	var f *fault.Error
	if errors.As(err, &f) {
		return f.Error()
	}
	return typesOf(err)
}
