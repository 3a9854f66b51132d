package practice_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/target"
)

// always returns a receiver whose every answer has the fault, and how many
// patients stand after one was posted.
func always(t *testing.T, kind practice.FaultKind) (res *http.Response, body []byte, err error, stored int) {
	t.Helper()
	r := practice.New("/fhir")
	require.NoError(t, r.Faults(practice.Faults{Chance: map[practice.FaultKind]float64{kind: 1}, Delay: 10 * time.Millisecond}))
	web := httptest.NewServer(r)
	t.Cleanup(web.Close)
	res, err = http.Post(web.URL+"/fhir/Patient", fhirJSON, strings.NewReader(`{"resourceType":"Patient"}`))
	if err == nil {
		body, err = io.ReadAll(res.Body)
		require.NoError(t, res.Body.Close())
	}
	require.Equal(t, map[practice.FaultKind]int{kind: 1}, r.FaultsDrawn())
	return res, body, err, len(r.Resources("Patient"))
}

// Each kind does what its name says, and what the sender must make of it is
// what the one table of reactions says.
func TestEachFaultIsWhatItSays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		kind   practice.FaultKind
		status int // 0: no answer
		broken bool
		stored int
		class  target.Class
	}{
		{practice.Fault401, 401, false, 0, target.Auth},
		{practice.Fault409, 409, false, 0, target.Conflict},
		{practice.Fault412, 412, false, 0, target.Conflict},
		{practice.Fault429, 429, false, 0, target.Retry},
		{practice.Fault500, 500, false, 0, target.Unknown},
		{practice.FaultSlow, 201, false, 1, target.Done},
		{practice.FaultResetBefore, 0, true, 0, target.Unknown},
		{practice.FaultResetAfter, 0, true, 1, target.Unknown},
		{practice.FaultHalfAnswer, 201, true, 1, target.Done},
		{practice.FaultWrongType, 200, false, 1, target.Done},
	} {
		t.Run(string(c.kind), func(t *testing.T) {
			t.Parallel()
			res, body, err, stored := always(t, c.kind)
			require.Equal(t, c.broken, err != nil, "%v", err)
			require.Equal(t, c.stored, stored)
			if c.status == 0 {
				require.Nil(t, res)
				require.Equal(t, c.class, target.React(0, nil, nil, time.Now()).Class)
				return
			}
			require.Equal(t, c.status, res.StatusCode)
			require.Contains(t, res.Header.Get(practice.Header), practice.Notice)
			require.Contains(t, res.Header.Get(practice.Header), string(c.kind))
			reaction := target.React(res.StatusCode, res.Header, target.ReadIssues(body), time.Now())
			require.Equal(t, c.class, reaction.Class)
			require.Equal(t, c.kind == practice.FaultWrongType, res.Header.Get("Content-Type") == "text/html")
		})
	}
}

// What is done late is done whole, and after its sender has been told nothing.
func TestALateWriteIsDoneAfterTheConnectionBroke(t *testing.T) {
	t.Parallel()
	r := practice.New("/fhir")
	broken := make(chan struct{})
	front := practice.NewSpoiler(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		<-broken
		r.ServeHTTP(w, req)
		panic(http.ErrAbortHandler) // as a forwarder does whose server is gone
	}))
	require.NoError(t, front.Faults(practice.Faults{Chance: map[practice.FaultKind]float64{practice.FaultLate: 1}, Late: time.Millisecond}))
	web := httptest.NewServer(front)
	t.Cleanup(web.Close)
	_, err := http.Post(web.URL+"/fhir/Patient", fhirJSON, strings.NewReader(`{"resourceType":"Patient","birthDate":"1950-01-02"}`)) //nolint:bodyclose // none came
	require.Error(t, err)
	require.Empty(t, r.Resources("Patient"))
	close(broken)
	front.Settle()
	require.Len(t, r.Resources("Patient"), 1)
	require.Equal(t, "1950-01-02", r.Resources("Patient")[0]["birthDate"])
}

func TestFaultsAreDrawnBySeedAndShare(t *testing.T) {
	t.Parallel()
	row := func(seed uint64) string {
		r := practice.New("")
		require.NoError(t, r.Faults(practice.Faults{Seed: seed, Chance: map[practice.FaultKind]float64{practice.Fault500: 0.1, practice.Fault401: 0.1}}))
		var said []string
		for range 2000 {
			rec := httptest.NewRecorder()
			r.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/metadata", nil))
			said = append(said, fmt.Sprint(rec.Code))
		}
		drawn := r.FaultsDrawn()
		// 2000 draws of 0.1 have a standard deviation of 13.4.
		require.InDelta(t, 200, drawn[practice.Fault500], 60)
		require.InDelta(t, 200, drawn[practice.Fault401], 60)
		return strings.Join(said, " ")
	}
	require.Equal(t, row(7), row(7))
	require.NotEqual(t, row(7), row(8))
}

func TestFaultsThatCannotBeDrawnAreRefused(t *testing.T) {
	t.Parallel()
	r := practice.New("")
	for want, chance := range map[string]map[practice.FaultKind]float64{
		"no fault":      {"sleepy": 0.1},
		"between 0":     {practice.Fault500: -0.1},
		"more than 1":   {practice.Fault500: 0.6, practice.Fault401: 0.6},
		"not between 0": {practice.Fault500: 1.5},
	} {
		require.ErrorContains(t, r.Faults(practice.Faults{Chance: chance}), want)
	}
	for _, text := range []string{"500", "500=", "500=2", "nonsense=0.1", "500=NaN", "=0.1"} {
		_, _, err := practice.ParseFault(text)
		require.Error(t, err, text)
	}
	require.NoError(t, r.Faults(practice.EvenFaults(1, 1)))
	some := practice.EvenFaults(1, 0.2, practice.FaultLate)
	require.NotContains(t, some.Chance, practice.FaultLate)
	total := 0.0
	for _, share := range some.Chance {
		total += share
	}
	require.InDelta(t, 0.2, total, 1e-9, "the share stays")
	require.NoError(t, r.Faults(some))
	require.NoError(t, r.Faults(practice.Faults{}), "and off again")
}
