package delivery_test

import (
	"crypto/sha1"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/target/fhirserver"
)

// key makes a role key out of readable text.
func key(prefix, text string) string {
	sum := sha1.Sum([]byte(text))
	return prefix + hex.EncodeToString(sum[:])
}

// part makes one resource of a case as mapping would: canonical JSON, the keys
// on it, references by urn or by the hospital's identifier.
func part(caseKey, role, kind string, elements map[string]any) graph.Resource {
	shared := strings.HasPrefix(role, "shared/")
	k := key("k", caseKey+"|"+role)
	if shared {
		k = key("k", role)
	}
	r := graph.Resource{Role: role, Key: k, Type: kind, UUID: uuid.NewSHA1(uuid.NameSpaceURL, []byte(k)).String(),
		SearchBy: graph.ByIdentifier, Shared: shared, Immutable: kind == "Provenance"}
	tags := []any{}
	if !shared {
		tags = append(tags, map[string]any{"system": graph.CaseKeySystem, "code": caseKey})
	}
	if kind == "AdverseEvent" || kind == "Provenance" {
		r.SearchBy = graph.ByTag
		tags = append(tags, map[string]any{"system": graph.RoleKeySystem, "code": k})
	} else {
		elements["identifier"] = []any{map[string]any{"system": graph.RoleKeySystem, "value": k}}
	}
	elements["resourceType"] = kind
	if len(tags) > 0 {
		elements["meta"] = map[string]any{"tag": tags}
	}
	body, err := json.Marshal(elements)
	if err != nil {
		panic(err)
	}
	r.Body = body
	return r
}

func ref(r graph.Resource) map[string]any { return map[string]any{"reference": r.Reference()} }

func hospital(kind, system, value string) map[string]any {
	return map[string]any{"reference": kind + "?identifier=" + system + "|" + value}
}

// scene describes a small case: what varies between its states.
type scene struct {
	name      string
	sequence  int
	patient   string
	size      string // decimal, digits as written
	histology bool
	event     bool
	status    string // of the report
	device    string // shared with other cases
	more      int    // further observations
}

func (s scene) caseKey() string { return key("c", s.name) }

// graph is one resection with one lesion, enough to have every kind of link.
func (s scene) graph() graph.Graph {
	c := s.caseKey()
	if s.patient == "" {
		s.patient = "HTEST-PAT-0001"
	}
	if s.size == "" {
		s.size = "22.50"
	}
	if s.status == "" {
		s.status = "final"
	}
	if s.device == "" {
		s.device = "HTEST-GEN"
	}
	text := func(t string) map[string]any { return map[string]any{"text": t} }
	subject := hospital("Patient", practice.PatientSystem, s.patient)
	device := part(c, "shared/generator/"+s.device, "Device", map[string]any{"type": text("electrosurgical generator")})
	procedure := part(c, "resection/1", "Procedure", map[string]any{"status": "completed", "subject": subject, "code": text("endoscopic submucosal dissection"),
		"encounter":     hospital("Encounter", practice.EncounterSystem, "HTEST-ENC-0001"),
		"performer":     []any{map[string]any{"actor": hospital("Practitioner", practice.PractitionerSystem, "HTEST-PRA-NOBODY")}},
		"usedReference": []any{ref(device)}})
	size := part(c, "lesion/1/size", "Observation", map[string]any{"status": "final", "subject": subject, "code": text("size"), "partOf": []any{ref(procedure)},
		"valueQuantity": map[string]any{"value": json.Number(s.size), "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm"}})
	report := part(c, "report/endoscopy", "DiagnosticReport", map[string]any{"status": s.status, "subject": subject, "code": text("endoscopy report"),
		"text":   map[string]any{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml"><p>HTEST &amp; more</p></div>`},
		"result": []any{ref(size)}})
	all := []graph.Resource{device, procedure, size}
	if s.event {
		all = append(all, part(c, "event/1", "AdverseEvent", map[string]any{"actuality": "actual", "subject": subject, "event": text("bleeding"),
			"suspectEntity": []any{map[string]any{"instance": ref(procedure)}}}))
	}
	for n := range s.more {
		all = append(all, part(c, fmt.Sprintf("lesion/1/fact/%d", n), "Observation", map[string]any{"status": "final", "subject": subject, "partOf": []any{ref(procedure)},
			"code":          map[string]any{"coding": []any{map[string]any{"system": "https://enbloc.example/fhir/CodeSystem/enbloc", "code": "htest-fact", "display": "HTEST fact of a lesion"}}},
			"category":      []any{map[string]any{"coding": []any{map[string]any{"system": "http://terminology.hl7.org/CodeSystem/observation-category", "code": "procedure"}}}},
			"valueQuantity": map[string]any{"value": json.Number("1.50"), "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm"}}))
	}
	if s.histology {
		all = append(all, part(c, "histology/1/type", "Observation", map[string]any{"status": "final", "subject": subject, "code": text("type"), "valueString": "HTEST"}))
	}
	all = append(all, report, part(c, "provenance/report", "Provenance", map[string]any{"target": []any{ref(report), ref(size)},
		"recorded": "2026-03-10T12:00:00Z", "agent": []any{map[string]any{"who": map[string]any{"display": "HTEST"}}}}))
	return graph.Graph{CaseKey: c, Sequence: s.sequence, Resources: all}
}

// voided is a plain "entered in error" form.
func voided(kind string, body json.RawMessage) (json.RawMessage, error) {
	var tree map[string]any
	if err := json.Unmarshal(body, &tree); err != nil {
		return nil, err
	}
	switch kind {
	case "AdverseEvent":
		tree["event"] = map[string]any{"text": "retracted"}
	case "Provenance":
		return nil, nil // there is no way to mark it
	default:
		tree["status"] = "entered-in-error"
	}
	return json.Marshal(tree)
}

// bench is a practice receiver behind real HTTP, with a place for faults.
type bench struct {
	*practice.Receiver
	url    string
	faults *faults
}

func newBench(t testing.TB) *bench {
	t.Helper()
	b := &bench{Receiver: practice.New("/fhir"), faults: &faults{}}
	require.NoError(t, b.SeedHospital(40))
	b.faults.next = b.Receiver
	server := httptest.NewServer(b.faults)
	t.Cleanup(server.Close)
	b.url = server.URL + "/fhir"
	return b
}

func (b *bench) target(t testing.TB, change ...func(*delivery.Target)) delivery.Target {
	t.Helper()
	client, err := fhirserver.New(fhirserver.Config{BaseURL: b.url, Timeout: 20 * time.Second})
	require.NoError(t, err)
	target := delivery.Target{Name: "practice", Client: client, Verify: delivery.VerifyAll}
	for _, c := range change {
		c(&target)
	}
	return target
}

func (b *bench) engine(t testing.TB, change ...func(*delivery.Target)) *delivery.Engine {
	return delivery.NewEngine(b.target(t, change...), delivery.EngineOptions{Void: voided})
}

// byKey returns what stands under each role key, and fails on a double.
func (b *bench) byKey(t testing.TB) map[string]map[string]any {
	t.Helper()
	all := map[string]map[string]any{}
	for _, kind := range []string{"Device", "Procedure", "Observation", "AdverseEvent", "DiagnosticReport", "Provenance"} {
		for _, r := range b.Resources(kind) {
			body, err := json.Marshal(r)
			require.NoError(t, err)
			k := roleKey(body)
			require.NotContains(t, all, k, "the target holds %s twice", kind)
			all[k] = r
		}
	}
	return all
}

func roleKey(body []byte) string {
	i := strings.Index(string(body), `"k`)
	for i >= 0 {
		if candidate := string(body[i+1 : i+42]); len(strings.Trim(candidate[1:], "0123456789abcdef")) == 0 {
			return candidate
		}
		next := strings.Index(string(body[i+1:]), `"k`)
		if next < 0 {
			break
		}
		i += next + 1
	}
	return ""
}

// writes is how many versions the receiver has stored beside the seeds.
func (b *bench) writes() int { return len(b.Journal()) - 82 }

// faults stands between client and receiver. Each plan serves the first request
// that it wants; the rest pass.
type faults struct {
	next  http.Handler
	mu    sync.Mutex
	plans []plan
}

type plan struct {
	wants func(*http.Request) bool
	serve func(next http.Handler, w http.ResponseWriter, r *http.Request)
}

func transactions(r *http.Request) bool {
	return r.Method == http.MethodPost && strings.HasSuffix(r.URL.Path, "/fhir")
}

func (f *faults) plan(wants func(*http.Request) bool, serve func(next http.Handler, w http.ResponseWriter, r *http.Request)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.plans = append(f.plans, plan{wants, serve})
}

func (f *faults) take(r *http.Request) (plan, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for i, p := range f.plans {
		if p.wants(r) {
			f.plans = slices.Delete(f.plans, i, i+1)
			return p, true
		}
	}
	return plan{}, false
}

func (f *faults) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if p, ok := f.take(r); ok {
		p.serve(f.next, w, r)
		return
	}
	f.next.ServeHTTP(w, r)
}

// The faults that a network and a server can have.

func resetBefore(_ http.Handler, w http.ResponseWriter, _ *http.Request) { reset(w) }

func resetAfter(next http.Handler, w http.ResponseWriter, r *http.Request) {
	next.ServeHTTP(httptest.NewRecorder(), r)
	reset(w)
}

func reset(w http.ResponseWriter) {
	conn, _, err := w.(http.Hijacker).Hijack()
	if err != nil {
		panic(err)
	}
	conn.Close()
}

func status(code int, header ...string) func(http.Handler, http.ResponseWriter, *http.Request) {
	return func(_ http.Handler, w http.ResponseWriter, _ *http.Request) {
		for i := 0; i+1 < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		w.WriteHeader(code)
	}
}

// after lets the receiver do its work and then answers something else.
func after(answer func(w http.ResponseWriter, real *httptest.ResponseRecorder)) func(http.Handler, http.ResponseWriter, *http.Request) {
	return func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		rec := httptest.NewRecorder()
		next.ServeHTTP(rec, r)
		answer(w, rec)
	}
}

func halfAnAnswer(w http.ResponseWriter, real *httptest.ResponseRecorder) {
	w.Header().Set("Content-Length", fmt.Sprint(real.Body.Len()+1)) // one more, so that an empty one is cut too
	w.WriteHeader(real.Code)
	_, _ = w.Write(real.Body.Bytes()[:real.Body.Len()/2])
	reset(w)
}

// put is somebody else's hand on the record: a plain update past the faults.
func (b *bench) put(t testing.TB, resource map[string]any, change func(map[string]any)) {
	t.Helper()
	body, err := json.Marshal(resource)
	require.NoError(t, err)
	var copied map[string]any
	require.NoError(t, json.Unmarshal(body, &copied))
	change(copied)
	body, err = json.Marshal(copied)
	require.NoError(t, err)
	rec := b.serve(http.MethodPut, copied["resourceType"].(string)+"/"+copied["id"].(string), string(body))
	require.Equal(t, 200, rec.Code, rec.Body.String())
}

func (b *bench) post(t testing.TB, kind, body string) int {
	t.Helper()
	rec := b.serve(http.MethodPost, kind, body)
	return rec.Code
}

func (b *bench) serve(method, path, body string) *httptest.ResponseRecorder {
	req := httptest.NewRequest(method, "/fhir/"+path, strings.NewReader(body))
	req.Header.Set("Content-Type", "application/fhir+json")
	rec := httptest.NewRecorder()
	b.Receiver.ServeHTTP(rec, req)
	return rec
}
