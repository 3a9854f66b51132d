package cli_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/server/practice"
)

// A target that refuses every case until somebody mends it leaves many stopped
// rows; one command takes them all up again.
func TestWhatStoppedForOneCauseIsResentAtOnce(t *testing.T) {
	t.Parallel()
	target := practice.New("/fhir")
	var refusing atomic.Bool
	refusing.Store(true)
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if refusing.Load() && r.Method == http.MethodPost && r.URL.Path == "/fhir" {
			w.WriteHeader(http.StatusUnprocessableEntity)
			return
		}
		target.ServeHTTP(w, r)
	}))
	t.Cleanup(web.Close)
	address, l, stop := serve(t, nil, "--data", t.TempDir(), "--target", web.URL+"/fhir", "--patient", "logical")
	list := func(args ...string) string {
		return run(t, "", append([]string{"deliveries", "--json", "--server", address}, args...)...).out
	}
	count := func(state string) int { return strings.Count(list("--state", state), `"id": `) }
	cases := []string{bleed, "01-gastric-esd-ecura-a", "09-colon-esd-pt1-900um"}
	for _, c := range cases {
		res, err := http.Post(address+"/cases", "application/json", strings.NewReader(example(t, c, "01-report.json")))
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		require.Equal(t, http.StatusAccepted, res.StatusCode)
	}
	require.Eventually(t, func() bool { return count("dead") == len(cases) }, 30*time.Second, 20*time.Millisecond, "%s", l)
	require.Empty(t, target.Resources("DiagnosticReport"))

	refusing.Store(false)
	for _, none := range [][]string{{"--target", "another"}, {"--reason", "budget-spent"}, {"--state", "conflict"}} {
		args := append([]string{"resend", "--server", address}, none...)
		if none[0] != "--state" {
			args = append(args, "--state", "dead")
		}
		r := run(t, "", args...)
		require.Equal(t, cli.Good, r.code, r.err)
		require.Contains(t, r.out, "0 of 0 deliveries", "%v", none)
		require.NotContains(t, list("--target", "another"), `"id"`)
	}
	r := run(t, "", "resend", "--state", "dead", "--state", "parked", "--server", address)
	require.Equal(t, cli.Good, r.code, r.err)
	require.Contains(t, r.out, "3 of 3 deliveries are tried again")
	require.Eventually(t, func() bool { return count("delivered") == len(cases) }, 30*time.Second, 20*time.Millisecond, "%s", l)
	require.Len(t, target.Resources("DiagnosticReport"), len(cases))
	require.Equal(t, cli.Good, stop(), l)
}
