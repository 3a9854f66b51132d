package preflight_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
	"enbloc/server/target/signin"
)

// behind runs a preflight that only reads against a server of which change says
// something else.
func behind(t *testing.T, tokens fhirserver.TokenSource, clock func() time.Time, change func(http.ResponseWriter, *http.Request)) preflight.Report {
	t.Helper()
	r := practice.New("/fhir")
	require.NoError(t, r.SeedHospital(1))
	web := httptest.NewServer(withoutLabel(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		change(w, req)
		r.ServeHTTP(w, req)
	})))
	t.Cleanup(web.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL + "/fhir", Timeout: 20 * time.Second, Tokens: tokens})
	require.NoError(t, err)
	report, err := preflight.Run(t.Context(), preflight.Options{Client: client, Name: "practice", Clock: clock})
	require.NoError(t, err)
	return report
}

func checkOf(p preflight.Report, id string) (found preflight.Check) {
	for _, c := range p.Checks {
		if c.ID == id {
			found = c
		}
	}
	return found
}

// Clocks may be two minutes apart, either way; a server that says no time, or
// none that can be read, is no reason to warn.
func TestClocksApart(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		date   string
		status preflight.Status
		says   string
	}{
		"the same":       {now.Format(http.TimeFormat), preflight.Pass, "differs by 0s"},
		"ahead":          {now.Add(2 * time.Minute).Format(http.TimeFormat), preflight.Pass, "differs by 2m0s"},
		"too far ahead":  {now.Add(2*time.Minute + time.Second).Format(http.TimeFormat), preflight.Warn, "differs by 2m1s"},
		"behind":         {now.Add(-2 * time.Minute).Format(http.TimeFormat), preflight.Pass, "differs by 2m0s"},
		"too far behind": {now.Add(-26 * time.Hour).Format(http.TimeFormat), preflight.Warn, "differs by 26h0m0s"},
		"no time":        {"", preflight.Info, "does not say"},
		"unreadable":     {"yesterday", preflight.Info, "does not say"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			clock := checkOf(behind(t, nil, func() time.Time { return now }, func(w http.ResponseWriter, _ *http.Request) {
				w.Header()["Date"] = nil // else net/http says the time
				if c.date != "" {
					w.Header().Set("Date", c.date)
				}
			}), "clock")
			require.Equal(t, c.status, clock.Status)
			require.Contains(t, clock.Found, c.says)
			require.Equal(t, c.status == preflight.Warn, clock.Remedy != "", "who is warned is told what to do")
		})
	}
}

// What a token is good for is said: for how long, and for which types. Without a
// token nothing else is tried.
func TestWhatATokenIsGoodFor(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		answer map[string]any
		status preflight.Status
		says   string // a pattern
	}{
		"five minutes":   {map[string]any{"access_token": "HTEST", "token_type": "bearer", "expires_in": 300}, preflight.Pass, `granted, good for (5m0s|4m5\ds)\.`},
		"an hour":        {map[string]any{"access_token": "HTEST", "token_type": "bearer", "expires_in": 3600, "scope": "system/*.cruds"}, preflight.Pass, `good for (1h0m0s|59m5\ds)\.`},
		"nothing said":   {map[string]any{"access_token": "HTEST", "token_type": "bearer"}, preflight.Pass, `granted\.`},
		"to read only":   {map[string]any{"access_token": "HTEST", "token_type": "bearer", "expires_in": 300, "scope": "system/*.rs"}, preflight.Warn, `good for .*without the right to write`},
		"client unknown": {map[string]any{"error": "invalid_client"}, preflight.Fail, `No token: .*does not know the client`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var asked, let atomic.Bool
			issuer := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Type", "application/json")
				if c.answer["error"] != nil {
					w.WriteHeader(http.StatusUnauthorized)
				}
				_ = json.NewEncoder(w).Encode(c.answer)
			}))
			t.Cleanup(issuer.Close)
			tokens, err := signin.New("http://127.0.0.1/fhir", signin.Settings{TokenURL: issuer.URL, ClientID: "HTEST", Secret: "HTEST"})
			require.NoError(t, err)
			report := behind(t, tokens, nil, func(_ http.ResponseWriter, req *http.Request) {
				asked.Store(true)
				let.Store(req.Header.Get("Authorization") == "Bearer HTEST")
			})
			found := checkOf(report, "sign-in")
			require.Equal(t, c.status, found.Status)
			require.Regexp(t, c.says, found.Found)
			refused := c.status == preflight.Fail
			require.Equal(t, !refused, asked.Load())
			require.Equal(t, !refused, let.Load())
			require.Equal(t, refused, checkOf(report, "metadata").Status == "", "without a token nothing else is tried")
		})
	}
}

// An authorisation server whose clock is another's refuses what is signed, and
// says no more than that it does not know the client.
func TestAClockThatIsWrongIsNamedWhenSigningInFails(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	for date, want := range map[string]preflight.Status{
		now.Format(http.TimeFormat):                       preflight.Pass,
		now.Add(-6 * time.Minute).Format(http.TimeFormat): preflight.Warn,
		"": "",
	} {
		issuer := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header()["Date"] = nil
			if date != "" {
				w.Header().Set("Date", date)
			}
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(http.StatusUnauthorized)
			_, _ = w.Write([]byte(`{"error":"invalid_client"}`))
		}))
		t.Cleanup(issuer.Close)
		tokens, err := signin.New("http://127.0.0.1/fhir", signin.Settings{TokenURL: issuer.URL, ClientID: "HTEST", Secret: "HTEST"})
		require.NoError(t, err)
		report := behind(t, tokens, func() time.Time { return now }, func(http.ResponseWriter, *http.Request) {})
		require.Equal(t, preflight.Fail, checkOf(report, "sign-in").Status)
		clock := checkOf(report, "clock")
		require.Equal(t, want, clock.Status)
		if want == preflight.Warn {
			require.Contains(t, clock.Found, "The authorisation server's clock differs by 6m0s")
		}
	}
}
