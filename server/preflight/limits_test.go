package preflight_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
)

// atMost refuses a transaction of more than 25 entries, in its own way.
func atMost(refuse http.HandlerFunc) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			raw, _ := io.ReadAll(req.Body)
			req.Body = io.NopCloser(bytes.NewReader(raw))
			var b struct{ Entry []json.RawMessage }
			if json.Unmarshal(raw, &b) == nil && len(b.Entry) > 25 {
				refuse(w, req)
				return
			}
			next.ServeHTTP(w, req)
		})
	}
}

func outcomeOf(status int, code, text string) http.HandlerFunc {
	return says(status, map[string]any{"resourceType": "OperationOutcome", "issue": []any{map[string]any{"severity": "error", "code": code, "diagnostics": text}}})
}

// The probe expects to be refused for another reason than its size, so a limit is
// told by an answer that is not the one to a small transaction of the same kind.
func TestALimitOfEntriesIsToldFromTheRefusalThatIsExpected(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		stale  int
		refuse http.HandlerFunc
	}{
		"another status": {0, outcomeOf(http.StatusBadRequest, "invalid", "too many entries")},
		"another code":   {http.StatusBadRequest, outcomeOf(http.StatusBadRequest, "too-costly", "no")},
		"another text":   {http.StatusBadRequest, outcomeOf(http.StatusBadRequest, "conflict", "a bundle may have 25 entries")},
		"no outcome":     {http.StatusBadRequest, says(http.StatusBadRequest, "no")},
		"413":            {0, says(http.StatusRequestEntityTooLarge, "no")},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, r := triedOn(t, practice.Shape{Deletes: true, Stale: c.stale}, atMost(c.refuse), func(o *preflight.Options) { o.Cases = 1 })
			require.Equal(t, preflight.Warn, statusOf(got, "entries"), foundOf(got, "entries"))
			require.Contains(t, foundOf(got, "entries"), "16 entries were taken, 32 not")
			require.Equal(t, 1, got.Trial.Deliverable, "the case goes in parts of that size: %v", got.Trial.Refusals)
			require.Equal(t, preflight.Pass, statusOf(got, "bytes"), foundOf(got, "bytes"))
			requireOnlyTheHospital(t, r)
		})
	}
	for name, stale := range map[string]int{"412": 0, "400": http.StatusBadRequest, "409": http.StatusConflict} {
		t.Run("no limit, "+name, func(t *testing.T) {
			t.Parallel()
			got, _ := triedOn(t, practice.Shape{Deletes: true, Stale: stale}, plainly, func(o *preflight.Options) { o.Cases = 0 })
			require.Equal(t, preflight.Pass, statusOf(got, "entries"), foundOf(got, "entries"))
			require.Contains(t, foundOf(got, "entries"), "64 entries were taken")
		})
	}
}

// A server that asks for a pause in the middle has not said what it takes.
func TestAPauseIsNoLimit(t *testing.T) {
	t.Parallel()
	got, _ := triedOn(t, practice.Shape{Deletes: true}, atMost(says(http.StatusTooManyRequests, "later")), func(o *preflight.Options) { o.Cases = 0 })
	require.Equal(t, preflight.Skip, statusOf(got, "entries"), foundOf(got, "entries"))
}

// On a server that does not look at versions the probe must fail of something
// else, or all of it would be stored.
func TestTheProbeForLimitsLeavesNothing(t *testing.T) {
	t.Parallel()
	got, r := triedOn(t, practice.Shape{Deletes: true, IgnoresVersions: true}, plainly, func(o *preflight.Options) { o.Cases = 0 })
	require.Equal(t, preflight.Pass, statusOf(got, "entries"), foundOf(got, "entries"))
	require.Empty(t, got.Leftovers)
	require.Zero(t, len(r.Resources("Observation")), "counted, as a list of them would be long")
}

// How long the largest probe took stands beside how long is waited.
func TestTheTimeOfOneRequest(t *testing.T) {
	t.Parallel()
	got, _ := triedOn(t, practice.Shape{Deletes: true}, plainly, func(o *preflight.Options) { o.Cases = 0 })
	require.Equal(t, preflight.Info, statusOf(got, "time"))
	require.Contains(t, foundOf(got, "time"), "after 20s a request is given up")
	slow := func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			raw, _ := io.ReadAll(req.Body)
			req.Body = io.NopCloser(bytes.NewReader(raw))
			if len(raw) > 1<<20 && bytes.Contains(raw, []byte("-bytes-")) {
				time.Sleep(4100 * time.Millisecond) // more than half of what is waited
			}
			next.ServeHTTP(w, req)
		})
	}
	got, _ = triedOn(t, practice.Shape{Deletes: true}, slow, func(o *preflight.Options) {
		o.Cases = 0
		var err error
		o.Client, err = fhirserver.New(fhirserver.Config{BaseURL: o.Client.BaseURL(), Timeout: 8 * time.Second})
		require.NoError(t, err)
	})
	require.Equal(t, preflight.Warn, statusOf(got, "time"), foundOf(got, "time"))
	require.Contains(t, foundOf(got, "time"), "after 8s a request is given up")
}
