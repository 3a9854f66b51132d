package practice_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
)

func TestEveryAnswerSaysThatItIsPractice(t *testing.T) {
	t.Parallel()
	r := practice.New("/fhir")
	for _, path := range []string{"/fhir/metadata", "/fhir/Patient", "/fhir/Nonsense", "/elsewhere", "/fhir", "/fhir/Patient/1", "/fhir/$export"} {
		rec := httptest.NewRecorder()
		r.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
		require.Equal(t, practice.Notice, rec.Header().Get(practice.Header), path)
		require.True(t, strings.HasPrefix(rec.Header().Get("Content-Type"), "application/fhir+json"), path)
	}
	rec := httptest.NewRecorder()
	r.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/fhir/metadata", nil))
	require.Contains(t, rec.Body.String(), "PRACTICE: practice only")
	require.Contains(t, rec.Body.String(), "enbloc practice receiver")
	rec = httptest.NewRecorder()
	r.ServeHTTP(rec, httptest.NewRequest(http.MethodDelete, "/fhir/Patient/1", nil))
	require.Equal(t, http.StatusMethodNotAllowed, rec.Code)
}

func TestSeedsAreFoundAndCounted(t *testing.T) {
	t.Parallel()
	r := practice.New("")
	require.NoError(t, r.SeedHospital(2))
	require.Len(t, r.Resources("Patient"), 2)
	require.Len(t, r.Resources("Encounter"), 2)
	require.Len(t, r.Resources("Practitioner"), 2)
	require.Len(t, r.Journal(), 6)
	require.Equal(t, "Patient/"+r.Resources("Patient")[1]["id"].(string), r.Resources("Encounter")[1]["subject"].(map[string]any)["reference"])
	_, err := r.Seed("Nonsense", "a", "b", nil)
	require.Error(t, err)
	_, err = r.Seed("Encounter", "a", "b", nil)
	require.ErrorContains(t, err, "Encounter.status")
	require.Nil(t, r.Resources("Nonsense"))
}

func TestParallelCreatesOfOneKeyMakeOneResource(t *testing.T) {
	t.Parallel()
	r := practice.New("/fhir")
	web := httptest.NewServer(r)
	t.Cleanup(web.Close)
	s := server{t, web.URL + "/fhir", "HTEST"}
	var wait sync.WaitGroup
	for range 16 {
		wait.Go(func() { s.tx(entry("Patient", s.patient("same"), by("same"))) })
	}
	wait.Wait()
	require.Len(t, r.Resources("Patient"), 1)
}

func TestAFailedTransactionLeavesNoTrace(t *testing.T) {
	t.Parallel()
	r := practice.New("/fhir")
	web := httptest.NewServer(r)
	t.Cleanup(web.Close)
	s := server{t, web.URL + "/fhir", "HTEST"}
	id := s.made("Observation", s.observation("o", ""))
	require.Equal(t, "400", s.tx(
		entry("Patient", s.patient("new"), by("new")),
		put("Observation/"+id, withID(id, s.observation("o-changed", "")), `W/"1"`),
		entry("Observation", s.observation("bad", `,"subject":{"reference":"Patient/nobody"}`), "")))
	require.Empty(t, r.Resources("Patient"))
	require.Len(t, r.Journal(), 1)
	require.Equal(t, 1, s.count("Observation", by("o")), "the index is as before")
	require.Zero(t, s.count("Observation", by("o-changed")))
	require.Equal(t, "200 201", s.tx(entry("Patient", s.patient("new"), by("new"))))
}
