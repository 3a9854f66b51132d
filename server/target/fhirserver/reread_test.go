package fhirserver_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/target/fhirserver"
)

// A read whose answer is broken, or asks for a short wait, is made again; one
// that asks for more or for credentials, and a write of any kind, never is.
func TestOnlyBrokenReadsAreMadeAgain(t *testing.T) {
	t.Parallel()
	abort := func(w http.ResponseWriter) { panic(http.ErrAbortHandler) }
	asking := func(w http.ResponseWriter) {
		w.Header().Set("X-Ms-Retry-After-Ms", "20")
		w.WriteHeader(429)
	}
	long := func(w http.ResponseWriter) {
		w.Header().Set("Retry-After", "30")
		w.WriteHeader(503)
	}
	status := func(n int) func(http.ResponseWriter) { return func(w http.ResponseWriter) { w.WriteHeader(n) } }
	page := func(w http.ResponseWriter) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = io.WriteString(w, "<p>sign in</p>")
	}
	for name, c := range map[string]struct {
		answer func(http.ResponseWriter)
		calls  int64
	}{
		"broken off": {abort, 4}, "500": {status(500), 4}, "502": {status(502), 4}, "409": {status(409), 4}, "412": {status(412), 4}, "a page": {page, 4},
		"a short wait": {asking, 4}, "a long wait": {long, 1},
		"401": {status(401), 1}, "429": {status(429), 1}, "503": {status(503), 1}, "404": {status(404), 1}, "410": {status(410), 1}, "400": {status(400), 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var calls atomic.Int64
			web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				calls.Add(1)
				c.answer(w)
			}))
			t.Cleanup(web.Close)
			client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL, Transport: &http.Transport{DisableKeepAlives: true}})
			require.NoError(t, err)
			client.Read(context.Background(), "Observation", "1")
			require.Equal(t, c.calls, calls.Swap(0), "a read")
			client.Transaction(context.Background(), []byte(`{}`))
			client.Create(context.Background(), "Observation", []byte(`{}`), "")
			client.Update(context.Background(), "Observation", "1", []byte(`{}`), "1")
			require.EqualValues(t, 3, calls.Load(), "three writes")
		})
	}
	var calls atomic.Int64
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		if calls.Add(1) == 1 {
			abort(w)
		}
		_, _ = io.WriteString(w, `{"resourceType":"Observation","id":"1"}`)
	}))
	t.Cleanup(web.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL})
	require.NoError(t, err)
	a := client.Read(context.Background(), "Observation", "1")
	require.NoError(t, a.Err)
	require.Equal(t, http.StatusOK, a.Status)
}
