// Package fault says what went wrong inside the service, in kinds that every
// layer shares, so that exactly one place turns a kind into an HTTP status.
//
// A fault is about the system, never about the content of a report: what is
// wrong with a report is a list of findings, which are values and not errors.
// A fault carries two texts. [Error.Message] is safe for the caller: it holds
// no patient data and nothing about our insides. [Error.Error] is for the log
// and adds the operation, the subject key and the cause.
package fault

import (
	"errors"
	"strings"
	"time"
)

// Error is one fault: what was being done, to what, and why it did not work.
type Error struct {
	// Op is what was being done, as gerund and subject ("committing document").
	Op string
	// Kind decides status, issue code and whether trying again can help.
	Kind Kind
	// Subject is the opaque key of what was worked on; never a business
	// identifier of a patient. It is written to the log only.
	Subject string
	// Message is the sentence for the caller: what happened, why, what to do.
	// When empty the kind's own sentence is used.
	Message string
	// RetryAfter is how long the caller should wait before it tries again;
	// zero when the kind's default is good enough or trying again is useless.
	RetryAfter time.Duration
	// Cause is the error below; its text goes to the log only.
	Cause error
}

// New makes a fault whose message may be shown to the caller.
func New(kind Kind, message string) *Error { return &Error{Kind: kind, Message: message} }

// Wrap adds operation and kind to a lower error. A nil cause gives nil, so
// that `return fault.Wrap(op, kind, err)` is safe at the end of a function.
func Wrap(op string, kind Kind, cause error) error {
	if cause == nil {
		return nil
	}
	return &Error{Op: op, Kind: kind, Cause: cause}
}

// Error is the text for the log. Patient data must not have got into Op,
// Subject or Cause: the packages that build faults keep it out.
func (e *Error) Error() string {
	parts := make([]string, 0, 4)
	if e.Op != "" {
		parts = append(parts, e.Op)
	}
	if e.Subject != "" {
		parts = append(parts, e.Subject)
	}
	switch {
	case e.Message != "":
		parts = append(parts, e.Message)
	case e.Cause == nil:
		parts = append(parts, e.Kind.String())
	}
	if e.Cause != nil {
		parts = append(parts, e.Cause.Error())
	}
	return strings.Join(parts, ": ")
}

// Unwrap gives the cause to errors.Is and errors.As.
func (e *Error) Unwrap() error { return e.Cause }

// KindOf is the kind of the outermost fault in err's chain, or Internal when
// there is none: what we did not foresee is our own mistake.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// Is reports whether err is a fault of the kind.
func Is(err error, kind Kind) bool { return err != nil && KindOf(err) == kind }

// Message is what a caller may read about err. Anything that is not a fault
// gives the sentence of Internal, which says nothing about our insides.
func Message(err error) string {
	var e *Error
	if errors.As(err, &e) {
		if e.Message != "" {
			return e.Message
		}
		return e.Kind.Sentence()
	}
	return Internal.Sentence()
}

// RetryAfter is how long a caller should wait before it sends the same request
// again; zero when repeating it is useless.
func RetryAfter(err error) time.Duration {
	var e *Error
	if !errors.As(err, &e) {
		return 0
	}
	if e.RetryAfter > 0 {
		return e.RetryAfter
	}
	return rows[e.Kind].retryAfter
}
