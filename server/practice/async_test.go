package practice_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
)

// A write is accepted, stands a little later, and its outcome is told in the
// shape of https://hl7.org/fhir/R5/async-bundle.html; reading is at once.
func TestAWriteIsDoneLater(t *testing.T) {
	t.Parallel()
	s := behaving(t, "async")
	place := func(body string) string {
		res, err := http.Post(s.base+"/Patient", "application/fhir+json", strings.NewReader(body))
		require.NoError(t, err)
		defer res.Body.Close()
		require.Equal(t, http.StatusAccepted, res.StatusCode)
		require.NotEmpty(t, res.Header.Get(practice.Header))
		return res.Header.Get("Content-Location")
	}
	outcome := func(place string) map[string]any {
		var tree map[string]any
		require.Eventually(t, func() bool {
			status, got := s.call(http.MethodGet, place[len(s.base):], "", "")
			tree = got
			return status == http.StatusOK
		}, 20*time.Second, 5*time.Millisecond)
		require.Equal(t, "batch-response", tree["type"])
		return tree["entry"].([]any)[0].(map[string]any)
	}
	good, bad := place(s.patient("p")), place(`{"resourceType":"Observation"}`)
	require.NotEqual(t, good, bad)
	told := outcome(good)
	require.Equal(t, "201 Created", told["response"].(map[string]any)["status"])
	require.Contains(t, told["response"].(map[string]any)["location"], "/Patient/")
	require.Equal(t, "Patient", told["resource"].(map[string]any)["resourceType"])
	require.Equal(t, 1, s.count("Patient", by("p")))
	told = outcome(bad)
	require.Equal(t, "400 Bad Request", told["response"].(map[string]any)["status"])
	require.Equal(t, "OperationOutcome", told["response"].(map[string]any)["outcome"].(map[string]any)["resourceType"])
	for _, nowhere := range []string{"/$outcome/0", "/$outcome/99", "/$outcome/x"} {
		status, _ := s.call(http.MethodGet, nowhere, "", "")
		require.Equal(t, http.StatusNotFound, status)
	}
}
