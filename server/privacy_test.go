package server_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

// heard collects what leaves the service beside the record: log lines, problem
// texts, metrics, and the addresses that targets are called under.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.String()
}

// planted are the identifiers and free texts of all example documents, which
// nobody but the record may hear of.
func planted(t *testing.T, documents map[string][]byte) []string {
	t.Helper()
	found := map[string]bool{}
	var walk func(field string, v any)
	walk = func(field string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, below := range v {
				walk(k, below)
			}
		case []any:
			for _, below := range v {
				walk(field, below)
			}
		case string:
			identifier := field == "value" || field == "url"
			free := strings.Contains(field, "text") || field == "status_reason" || field == "comment" || field == "reason"
			if identifier || free && len(v) > 8 {
				found[v] = true
			}
		}
	}
	for name, raw := range documents {
		var document any
		require.NoError(t, json.Unmarshal(raw, &document), name)
		walk("", document)
	}
	var all []string
	for text := range found {
		all = append(all, text)
	}
	require.Greater(t, len(all), 100)
	return all
}

func allExamples(t *testing.T) (names []string, documents map[string][]byte) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join("..", "testdata", "cases", "*", "*.json"))
	require.NoError(t, err)
	documents = map[string][]byte{}
	for _, name := range names {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		documents[name] = raw
	}
	return names, documents
}

// TestNobodyHearsOfThePatient plays every example, good and spoiled, and then
// looks for their identifiers and free texts in everything that is not the
// record.
func TestNobodyHearsOfThePatient(t *testing.T) {
	t.Parallel()
	var log, told heard
	s := servertest.Start(t, servertest.Options{Log: &log, Target: func(receiver http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			// Identifiers of people belong into the body of a search; a key of
			// ours may stand in an address.
			_, _ = told.Write([]byte(r.Method + " " + r.URL.String() + "\n"))
			receiver.ServeHTTP(w, r)
		})
	}})
	names, documents := allExamples(t)
	require.NotEmpty(t, names)
	for _, name := range names {
		raw := documents[name]
		path := pathOf(raw)
		tell := func(a servertest.Answer) {
			for k, values := range a.Header {
				_, _ = told.Write([]byte(k + ": " + strings.Join(values, ",") + "\n"))
			}
			_, _ = told.Write(a.Body)
		}
		tell(s.Post(path, raw))
		// Spoiled in ways that tempt a decoder to quote: a cut, a wrong type, a
		// field named like a patient, a value where a word belongs. (A key that
		// looks like the name of a field is told back to who sent it.)
		tell(s.Do(http.MethodPost, path, raw[:len(raw)-len(raw)/3]))
		tell(s.Do(http.MethodPost, path, bytes.Replace(raw, []byte(`"revision": `), []byte(`"revision": "HTEST-P-0101", "Nobody, HTEST": `), 1)))
		tell(s.Do(http.MethodPost, path, bytes.ReplaceAll(raw, []byte(`"kind": "`), []byte(`"kind": "HTEST-P-0101 `))))
		tell(s.Do(http.MethodGet, "/cases/HTEST-P-0101?name=HTEST-P-0101", nil, "X-Request-Id", "HTEST-P-0101", "User-Agent", "HTEST-P-0101"))
		tell(s.Do("HTEST-P-0101", "/HTEST-P-0101", nil, "Referer", "https://hospital.example/HTEST-P-0101"))
	}
	s.Settle()
	for _, path := range []string{"/cases?limit=200", "/deliveries?limit=200", "/parked", "/metrics", "/health/ready"} {
		_, _ = told.Write(s.Do(http.MethodGet, path, nil).Body)
	}
	require.Contains(t, log.String(), `"route":"/cases/:case"`)
	logs, rest := log.String(), told.String()
	for _, text := range append(planted(t, documents), "Nobody, HTEST") {
		require.False(t, strings.Contains(logs, text), "a log line holds %q", text)
		require.False(t, strings.Contains(rest, text), "an answer, a metric or an address holds %q", text)
	}
}

func pathOf(document []byte) string {
	switch {
	case bytes.Contains(document, []byte(`"enbloc.histology/1"`)):
		return "/histology"
	case bytes.Contains(document, []byte(`"enbloc.events/1"`)):
		return "/events"
	}
	return "/cases"
}
