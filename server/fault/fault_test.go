package fault_test

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
)

// issueTypes are the codes of FHIR R4 value set issue-type
// (http://hl7.org/fhir/R4/valueset-issue-type.html); copied by hand from memory
// of that page, so a typing mistake in the table is caught, a mistake in the
// standard is not.
var issueTypes = []string{"invalid", "structure", "required", "value", "invariant", "security", "login", "unknown",
	"expired", "forbidden", "suppressed", "processing", "not-supported", "duplicate", "multiple-matches", "not-found",
	"deleted", "too-long", "code-invalid", "extension", "too-costly", "business-rule", "conflict", "transient",
	"lock-error", "no-store", "exception", "timeout", "incomplete", "throttled", "informational"}

func TestEveryKindHasItsRow(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, k := range fault.Kinds() {
		t.Run(k.String(), func(t *testing.T) {
			require.NotEmpty(t, k.String())
			require.False(t, seen[k.String()], "two kinds share a name")
			seen[k.String()] = true
			require.GreaterOrEqual(t, k.Status(), 400)
			require.NotEmpty(t, http.StatusText(k.Status()))
			require.Contains(t, issueTypes, k.IssueCode())
			require.NotEmpty(t, k.Sentence())
			require.Equal(t, k, fault.KindOf(fault.New(k, "x")))
		})
	}
	require.Len(t, seen, 10)
}

func TestWaitingIsAdvisedOnlyWhereItHelps(t *testing.T) {
	t.Parallel()
	for _, k := range fault.Kinds() {
		waits := fault.RetryAfter(fault.New(k, "")) > 0
		require.Equal(t, k == fault.Busy || k == fault.Unavailable, waits, k.String())
	}
	require.Equal(t, time.Minute, fault.RetryAfter(&fault.Error{Kind: fault.Busy, RetryAfter: time.Minute}))
	require.Zero(t, fault.RetryAfter(io.EOF))
}

func TestTheCallerReadsNothingOfTheCause(t *testing.T) {
	t.Parallel()
	err := fmt.Errorf("handling request: %w", fault.Wrap("committing document", fault.Unavailable, errors.New("disk sda1 is full")))
	require.Equal(t, fault.Unavailable, fault.KindOf(err))
	require.True(t, fault.Is(err, fault.Unavailable))
	require.NotContains(t, fault.Message(err), "sda1")
	require.Contains(t, err.Error(), "committing document: disk sda1 is full")
	require.Equal(t, fault.Internal.Sentence(), fault.Message(io.EOF))
}

func TestWhatIsNoFaultIsOurMistake(t *testing.T) {
	t.Parallel()
	require.Equal(t, fault.Internal, fault.KindOf(io.EOF))
	require.NoError(t, fault.Wrap("op", fault.Busy, nil))
	require.False(t, fault.Is(nil, fault.Internal))
	require.Equal(t, 500, fault.Kind(99).Status())
	require.ErrorIs(t, fault.Wrap("reading", fault.Malformed, io.EOF), io.EOF)
}
