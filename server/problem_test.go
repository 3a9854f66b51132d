package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/server/fault"
	"enbloc/server/intake"
)

func TestEveryKindOfFaultIsAProblem(t *testing.T) {
	t.Parallel()
	types := map[string]bool{}
	for _, kind := range fault.Kinds() {
		p := describe(fmt.Errorf("doing something: %w", fault.New(kind, "")))
		require.Equal(t, kind.Status(), p.Status)
		require.Equal(t, kind.Sentence(), p.Detail)
		require.NotEmpty(t, p.Title)
		require.NotEmpty(t, p.issue)
		require.NotContains(t, p.Type, " ")
		require.False(t, types[p.Type], "two kinds share a type")
		types[p.Type] = true
	}
}

func TestAnUnforeseenErrorSaysNothing(t *testing.T) {
	t.Parallel()
	secret := errors.New("decoding HTEST-P-0101")
	p := describe(fmt.Errorf("reading: %w", secret))
	require.Equal(t, http.StatusInternalServerError, p.Status)
	require.NotContains(t, p.Detail, "HTEST")
	require.NotContains(t, loggable(secret), "HTEST")
	require.Contains(t, loggable(&fault.Error{Op: "storing case", Kind: fault.Internal, Cause: io.EOF}), "storing case: EOF")
	require.Equal(t, http.StatusServiceUnavailable, describe(context.Canceled).Status)
	require.Equal(t, http.StatusServiceUnavailable, describe(fmt.Errorf("x: %w", context.DeadlineExceeded)).Status)
}

func TestARejectionCarriesItsFindings(t *testing.T) {
	t.Parallel()
	findings := []report.Finding{{ID: "a", Severity: report.Error, Pointer: "/lesions/0/a~1b", Text: "T.", Mend: "M."},
		{ID: "b", Severity: report.Warning}, {ID: "c", Severity: report.Advice}}
	p := describe(fmt.Errorf("x: %w", &intake.Rejection{Findings: findings}))
	require.Equal(t, http.StatusUnprocessableEntity, p.Status)
	require.Equal(t, findings, p.Findings)
	require.Equal(t, http.StatusBadRequest, describe(&intake.Rejection{Malformed: true}).Status)
	o := outcomeOf(p)
	require.Len(t, o.Issue, 4)
	require.Equal(t, []string{"lesions[0].a/b"}, o.Issue[1].Expression)
	require.Equal(t, []string{"error", "error", "warning", "information"},
		[]string{o.Issue[0].Severity, o.Issue[1].Severity, o.Issue[2].Severity, o.Issue[3].Severity})
}
