package preflight_test

import (
	"bytes"
	"io"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/preflight"
)

// Conditions can hold under repetition and not under a race: what stands in
// transactions is what delivery goes by.
func TestTransactionsAtTheSameMoment(t *testing.T) {
	t.Parallel()
	tried := func(behind func(http.Handler) http.Handler) preflight.Report {
		got, r := triedOn(t, practice.Shape{Deletes: true, NoClientIDs: true}, behind, func(o *preflight.Options) { o.Cases = 0 })
		require.Empty(t, got.Leftovers)
		requireOnlyTheHospital(t, r)
		return got
	}
	got := tried(plainly)
	require.Equal(t, preflight.Pass, statusOf(got, "transaction-race"), foundOf(got, "transaction-race"))
	require.Contains(t, got.Why, "holds under repetition and race")

	got = tried(func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			raw, _ := io.ReadAll(req.Body)
			if bytes.Contains(raw, []byte("-raced-")) {
				raw = bytes.ReplaceAll(raw, []byte(`"ifNoneExist"`), []byte(`"x"`))
			}
			req.Body, req.ContentLength = io.NopCloser(bytes.NewReader(raw)), int64(len(raw))
			next.ServeHTTP(w, req)
		})
	})
	require.Equal(t, preflight.Pass, statusOf(got, "race"), "single creates hold")
	require.Equal(t, preflight.Fail, statusOf(got, "transaction-race"), foundOf(got, "transaction-race"))
	require.Contains(t, got.Why, "under a race it did not")
}
