package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// Exit codes.
const (
	Good         = 0 // done; for check: no error among the findings
	HasErrors    = 1 // the document has errors: it would be refused
	Usage        = 2 // wrong call, or a file or setting that cannot be read
	TargetFailed = 3 // the target, or the service asked, did not do it
	Changed      = 4 // the target is not as in the report it was compared with
)

// exitError is an error with its exit code. A nil cause means that everything
// was said on standard output already.
type exitError struct {
	code  int
	cause error
}

func (e *exitError) Error() string {
	if e.cause == nil {
		return fmt.Sprintf("exit %d", e.code)
	}
	return e.cause.Error()
}

func (e *exitError) Unwrap() error { return e.cause }

// errHasErrors ends a command whose output has named the errors.
var errHasErrors = &exitError{code: HasErrors}

// usagef is a wrong call: it says what to do instead.
func usagef(format string, args ...any) error {
	return &exitError{Usage, fmt.Errorf(format, args...)}
}

// targetFailed says that the other side did not do its part.
func targetFailed(err error) error { return &exitError{TargetFailed, err} }

// finish prints what is left to say about err and returns the exit code. An
// error without a code comes from parsing the command line, or is a file or a
// setting that could not be used: both are [Usage].
func finish(err error, stderr io.Writer) int {
	if err == nil {
		return Good
	}
	code := Usage
	var e *exitError
	if errors.As(err, &e) {
		code = e.code
		if e.cause == nil {
			return code
		}
	}
	for i, line := range strings.Split(err.Error(), "\n") {
		lead := "enbloc: "
		if i > 0 {
			lead = "        "
		}
		fmt.Fprintln(stderr, lead+line)
	}
	return code
}
