package service

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/testdata/cases"
)

// ear hears all that a registry is asked, or a log is told.
type ear struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (e *ear) Write(p []byte) (int, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.b.Write(p)
}

func (e *ear) String() string {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.b.String()
}

// heardBy stands before a receiver and hears every request.
func heardBy(e *ear, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		_, _ = e.Write([]byte(r.Method + " " + r.URL.String() + "\n"))
		for k, v := range r.Header {
			_, _ = e.Write([]byte(k + ": " + strings.Join(v, ",") + "\n"))
		}
		_, _ = e.Write(append(body, '\n'))
		r.Body = io.NopCloser(bytes.NewReader(body))
		next.ServeHTTP(w, r)
	})
}

// two is a hospital and a registry, and the service between them.
type two struct {
	t                  *testing.T
	hospital, registry *practice.Receiver
	told, log          *ear
	list               string
	address            string
}

func startTwo(t *testing.T) *two {
	t.Helper()
	w := &two{t: t, hospital: practice.New("/fhir"), registry: practice.New("/fhir"), told: &ear{}, log: &ear{}}
	w.registry.Shape(practice.Shape{Deletes: true})
	hospital, registry := httptest.NewServer(w.hospital), httptest.NewServer(heardBy(w.told, w.registry))
	t.Cleanup(hospital.Close)
	t.Cleanup(registry.Close)
	dir := t.TempDir()
	w.list = filepath.Join(dir, "opted-out.txt")
	require.NoError(t, os.WriteFile(w.list, []byte("# nobody yet\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "r.secret"), []byte(strings.Repeat("HTEST", 8)), 0o600))
	settings := filepath.Join(dir, "registry.json")
	require.NoError(t, os.WriteFile(settings, []byte(`{"kind":"registry","recipient":"national","secret_file":"r.secret",
		"consent":{"rule":"opt-out","file":"opted-out.txt","every":"1s"},"target":{"url":"`+registry.URL+`/fhir"}}`), 0o600))
	c := Config{Listen: "127.0.0.1:0", Data: filepath.Join(dir, "data"), Target: hospital.URL + "/fhir", TargetName: "hospital", Registries: []string{settings},
		RetryWait: 200 * time.Millisecond, Grace: 5 * time.Second}
	program, err := New(context.Background(), c, "test", slog.New(slog.NewJSONHandler(w.log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended, ready := make(chan error, 1), make(chan string, 1)
	go func() { ended <- program.Run(ctx, func(a string) { ready <- a }) }()
	w.address = "http://" + <-ready
	t.Cleanup(func() { cancel(); require.NoError(t, <-ended) })
	return w
}

// send posts a document after making its patient known to the hospital; it
// returns the key of the case.
func (w *two) send(document []byte) string {
	w.t.Helper()
	var d struct {
		Schema  string
		Patient struct {
			Identifier struct{ System, Value string }
		}
	}
	require.NoError(w.t, json.Unmarshal(document, &d))
	path := map[string]string{"report": "/cases", "histology": "/histology", "events": "/events"}[strings.TrimPrefix(strings.Split(d.Schema, "/")[0], "enbloc.")]
	if id := d.Patient.Identifier; id.Value != "" && !strings.Contains(strings.Join(w.all(w.hospital, "Patient"), ""), `"`+id.Value+`"`) {
		_, err := w.hospital.Seed("Patient", id.System, id.Value, nil)
		require.NoError(w.t, err)
	}
	res, err := http.Post(w.address+path, "application/json", bytes.NewReader(document))
	require.NoError(w.t, err)
	defer res.Body.Close() //nolint:errcheck // a test
	body, err := io.ReadAll(res.Body)
	require.NoError(w.t, err)
	require.Equal(w.t, http.StatusAccepted, res.StatusCode, string(body))
	var receipt struct{ Case string }
	require.NoError(w.t, json.Unmarshal(body, &receipt))
	return receipt.Case
}

func (w *two) all(r *practice.Receiver, kind string) []string {
	var out []string
	for _, tree := range r.Resources(kind) {
		body, err := json.Marshal(tree)
		require.NoError(w.t, err)
		out = append(out, string(body))
	}
	return out
}

type row struct {
	Case, Target, State, Reason, Explanation string
	Sequence                                 int
}

// rows are the outbox rows of a case, newest first.
func (w *two) rows(caseKey, target string) []row {
	var body struct{ Deliveries []row }
	require.NoError(w.t, json.Unmarshal([]byte(get(w.t, w.address+"/deliveries?case="+caseKey+"&target="+target)), &body))
	return body.Deliveries
}

func (w *two) until(caseKey, target, state string) row {
	w.t.Helper()
	require.Eventually(w.t, func() bool { r := w.rows(caseKey, target); return len(r) > 0 && r[0].State == state }, 30*time.Second, 20*time.Millisecond,
		"%s for %s: %+v", state, target, w.rows(caseKey, target))
	return w.rows(caseKey, target)[0]
}

func (w *two) optOut(lines string) {
	require.NoError(w.t, os.WriteFile(w.list, []byte(lines), 0o600))
}

func documentsOf(t *testing.T, name string) [][]byte {
	t.Helper()
	var out [][]byte
	for _, c := range cases.All() {
		if c.Name == name {
			for _, d := range c.Documents {
				out = append(out, d.JSON)
			}
		}
	}
	require.NotEmpty(t, out, name)
	return out
}

// identifying are the values of a document that 45 CFR 164.514(b)(2)(i) wants
// removed: every identifier and its system, addresses of pictures, free texts,
// and the times as they were.
func identifying(t *testing.T, document []byte) []string {
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
			words := strings.Contains(field, "text") || strings.Contains(field, "reason") && strings.Contains(v, " ") || field == "comment" || field == "title" || field == "note"
			if field == "value" || field == "url" || field == "system" || field == "source_system" || words && len(v) > 8 || len(v) > 18 && v[4] == '-' && v[10] == 'T' {
				found[v] = true
			}
		}
	}
	var tree any
	require.NoError(t, json.Unmarshal(document, &tree))
	walk("", tree)
	var all []string
	for v := range found {
		all = append(all, v)
	}
	return all
}

var pseudonymousPatient = regexp.MustCompile(`recipient/national/patient","value":"(p[0-9a-f]{40})"|"value":"(p[0-9a-f]{40})"`)

func TestARegistryBesideTheHospital(t *testing.T) {
	t.Parallel()
	w := startTwo(t)
	var sent [][]byte
	send := func(name string, change ...string) string {
		key := ""
		for _, d := range documentsOf(t, name) {
			d = []byte(strings.NewReplacer(change...).Replace(string(d)))
			sent = append(sent, d)
			if k := w.send(d); k != "" {
				key = k
			}
		}
		return key
	}
	// Two cases of one patient and one of another reach both.
	first := send("02-gastric-esd-ecura-b-delayed-bleeding")
	second := send("03-gastric-esd-c1-lateral-margin", "HTEST-P-0103", "HTEST-P-0102")
	third := send("08-colon-emr-piecemeal")
	for _, key := range []string{first, second, third} {
		w.until(key, "hospital", "delivered")
		w.until(key, "registry-national", "delivered")
	}
	reports := w.all(w.registry, "DiagnosticReport")
	require.Greater(t, len(reports), 3)
	require.Empty(t, w.all(w.registry, "Media"))
	patients := map[string]int{}
	for _, r := range reports {
		m := pseudonymousPatient.FindStringSubmatch(r)
		require.NotNil(t, m, r)
		patients[m[1]+m[2]]++
		require.Contains(t, r, "PSEUDED")
		require.Contains(t, r, "HTEST")
	}
	require.Len(t, patients, 2, "two cases of one patient belong together, that of another does not")

	// Nothing that was planted is in what the registry was asked or told, in
	// whatever address, header, body or log line.
	told, log := w.told.String(), w.log.String()
	require.Greater(t, len(told), 100_000)
	total := 0
	for _, d := range sent {
		for _, value := range identifying(t, d) {
			total++
			require.False(t, strings.Contains(told, value), "%q reached the registry", value)
			if !strings.HasPrefix(value, "20") { // a log line has a time of its own
				require.False(t, strings.Contains(log, value), "%q is in the log", value)
			}
		}
	}
	require.Greater(t, total, 100)
	for _, key := range []string{first, second, third} {
		require.False(t, strings.Contains(told, key), "the site's key of a case reached the registry")
	}

	// The same again sends nothing.
	before := len(w.registry.Journal())
	again := documentsOf(t, "02-gastric-esd-ecura-b-delayed-bleeding")
	w.send(again[len(again)-1])
	require.Len(t, w.registry.Journal(), before)

	// The patient objects: both cases are deleted there, and nowhere else.
	hospital := len(w.all(w.hospital, "Observation"))
	w.optOut("https://hospital.example/sid/patient|HTEST-P-0102\n")
	for _, key := range []string{first, second} {
		r := w.until(key, "registry-national", "withheld")
		require.Equal(t, "withheld", r.Reason)
		require.Contains(t, r.Explanation, "were deleted on the target")
	}
	for _, kind := range []string{"DiagnosticReport", "Observation", "Procedure", "Condition", "Provenance"} {
		for _, r := range w.all(w.registry, kind) {
			for patient, n := range patients {
				if kind == "DiagnosticReport" && n > 2 { // three or more reports: the patient of two cases
					require.NotContains(t, r, patient)
				}
			}
		}
	}
	require.Len(t, w.all(w.hospital, "Observation"), hospital)
	require.NotEmpty(t, w.all(w.registry, "DiagnosticReport"), "the other patient's case stays")

	// A case of somebody who has objected never leaves.
	writes := len(w.registry.Journal())
	fourth := send("04-gastric-esd-c2-lymphatic-invasion", "HTEST-P-0104", "HTEST-P-0102")
	w.until(fourth, "hospital", "delivered")
	r := w.until(fourth, "registry-national", "withheld")
	require.Contains(t, r.Explanation, "Nothing of it stood on the target.")
	require.Len(t, w.registry.Journal(), writes)

	// The list cannot be read: nothing leaves, and the hospital is served.
	require.NoError(t, os.Remove(w.list))
	fifth := send("01-gastric-esd-ecura-a")
	w.until(fifth, "hospital", "delivered")
	require.Eventually(t, func() bool {
		rows := w.rows(fifth, "registry-national")
		return slices.ContainsFunc(rows, func(r row) bool { return r.Reason == "consent-unknown" })
	}, 20*time.Second, 20*time.Millisecond)
	require.Len(t, w.registry.Journal(), writes)
	w.optOut("")
	w.until(fifth, "registry-national", "delivered")
	w.until(fourth, "registry-national", "delivered") // who no longer objects is sent
}

func TestAWithdrawnCaseIsDeletedAtTheRegistry(t *testing.T) {
	t.Parallel()
	w := startTwo(t)
	documents := documentsOf(t, "12-withdrawn-wrong-patient")
	var key string
	for _, d := range documents[:len(documents)-1] {
		key = w.send(d)
	}
	w.until(key, "registry-national", "delivered")
	require.NotEmpty(t, w.all(w.registry, "Procedure"))
	sequence := w.rows(key, "registry-national")[0].Sequence
	w.send(documents[len(documents)-1])
	require.Eventually(t, func() bool {
		r := w.rows(key, "registry-national")[0]
		return r.Sequence > sequence && r.State == "delivered"
	}, 20*time.Second, 20*time.Millisecond)
	require.Equal(t, "withdrawn", w.rows(key, "registry-national")[0].Reason)
	for _, kind := range []string{"DiagnosticReport", "Observation", "Procedure", "Condition", "Provenance"} {
		require.Empty(t, w.all(w.registry, kind), kind)
	}
	require.NotEmpty(t, w.all(w.hospital, "Procedure"), "the hospital keeps it, marked as entered in error")
}

func TestRegistriesThatCannotBeTrustedStopTheStart(t *testing.T) {
	t.Parallel()
	for want, settings := range map[string]string{
		`no "consent"`:     `{"kind":"registry","recipient":"n","secret_file":"s","target":{"url":"http://127.0.0.1:1/fhir"}}`,
		`no "target"`:      `{"kind":"registry","recipient":"n","secret_file":"s","consent":{"rule":"none"}}`,
		`no "url"`:         `{"kind":"registry","recipient":"n","secret_file":"s","consent":{"rule":"none"},"target":{}}`,
		"rung 5":           `{"kind":"registry","recipient":"n","secret_file":"s","consent":{"rule":"none"},"target":{"url":"http://127.0.0.1:1/fhir","rung":5}}`,
		"conditional":      `{"kind":"registry","recipient":"n","secret_file":"s","consent":{"rule":"none"},"target":{"url":"http://127.0.0.1:1/fhir","patient":"conditional"}}`,
		"unencrypted":      `{"kind":"registry","recipient":"n","secret_file":"s","consent":{"rule":"none"},"target":{"url":"http://registry.example/fhir","token_file":"s"}}`,
		"a second or more": `{"kind":"registry","recipient":"n","secret_file":"s","consent":{"rule":"none","every":"1ms"},"target":{"url":"http://127.0.0.1:1/fhir"}}`,
	} {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "s"), []byte(strings.Repeat("HTEST", 8)), 0o600))
		path := filepath.Join(dir, "r.json")
		require.NoError(t, os.WriteFile(path, []byte(settings), 0o600))
		_, err := New(context.Background(), Config{Data: filepath.Join(dir, "data"), Registries: []string{path}}, "test", slog.New(slog.DiscardHandler))
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), "HTESTHTEST")
		require.NoFileExists(t, filepath.Join(dir, "data", "enbloc.db"))
	}
}
