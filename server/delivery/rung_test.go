package delivery_test

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/store"
	"enbloc/server/target"
)

// lowerRungs are servers that lack something, with the rung that is left; two
// take few entries at once.
var lowerRungs = map[string]struct {
	shape  practice.Shape
	target func(*delivery.Target)
}{
	"3 conditional update": {practice.Shape{NoConditionalCreate: true, NoClientIDs: true, ConditionalUpdate: true},
		func(t *delivery.Target) { t.Rung = delivery.RungConditionalUpdate }},
	"1 in parts": {practice.Shape{},
		func(t *delivery.Target) { t.Rung, t.MaxEntries = delivery.RungClientIDs, 2 }},
	"2 in parts": {practice.Shape{NoClientIDs: true},
		func(t *delivery.Target) { t.Rung, t.MaxEntries = delivery.RungConditionalCreate, 2 }},
	"4 with a condition": {practice.Shape{NoTransaction: true, NoClientIDs: true},
		func(t *delivery.Target) { t.Rung = delivery.RungSingle }},
	"4 with ids of ours": {practice.Shape{NoTransaction: true, NoConditionalCreate: true},
		func(t *delivery.Target) { t.Rung, t.FirstWrite = delivery.RungSingle, delivery.WithClientID }},
	"4 after a search": {practice.Shape{NoTransaction: true, NoClientIDs: true, IgnoresConditions: true},
		func(t *delivery.Target) { t.Rung, t.FirstWrite = delivery.RungSingle, delivery.AfterSearch }},
}

// circular has what cannot be written in one go: the Procedure names the report,
// the report its results, these the Procedure; and a complication comes later.
func circular(name string, sequence int, status string) graph.Graph {
	s := scene{name: name, sequence: sequence, histology: sequence > 1, event: sequence > 1, status: status}
	g := s.graph()
	report := g.Resources[0]
	for _, r := range g.Resources {
		if r.Type == "DiagnosticReport" {
			report = r
		}
	}
	for i, r := range g.Resources {
		if r.Type == "Procedure" {
			body := strings.Replace(string(r.Body), `"resourceType"`, `"report":[{"reference":"`+report.Reference()+`"}],"resourceType"`, 1)
			g.Resources[i].Body = json.RawMessage(body)
		}
	}
	return g
}

func TestEveryLowerRungBringsACaseThroughItsStates(t *testing.T) {
	t.Parallel()
	for name, c := range lowerRungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(c.shape)
			e := b.engine(t, c.target)
			for sequence, status := range []string{"final", "amended", "corrected"} {
				g := circular(name, sequence+1, status)
				got, err := e.Deliver(context.Background(), g)
				require.NoError(t, err)
				require.Empty(t, got.Alarms())
				wrote := b.writes()
				again, err := e.Deliver(context.Background(), g)
				require.NoError(t, err)
				require.Equal(t, len(g.Resources), again.Count(delivery.Unchanged))
				_, err = delivery.DeliverInDoubt(e, context.Background(), g)
				require.NoError(t, err)
				require.Equal(t, wrote, b.writes(), "a repetition writes nothing")
			}
			require.Len(t, b.byKey(t), 7)
			report := b.Resources("DiagnosticReport")[0]
			require.Equal(t, "corrected", report["status"])
			procedure := b.Resources("Procedure")[0]
			require.Equal(t, "DiagnosticReport/"+report["id"].(string), procedure["report"].([]any)[0].(map[string]any)["reference"])
		})
	}
}

// TestSingleRequestsKeepTheOrder reads the receiver's own journal: the report
// comes after all that it names, the Provenance after everything.
func TestSingleRequestsKeepTheOrder(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	c := lowerRungs["4 with a condition"]
	b.Shape(c.shape)
	_, err := b.engine(t, c.target).Deliver(context.Background(), circular("order", 1, "final"))
	require.NoError(t, err)
	var kinds []string
	for _, w := range b.Journal()[82:] {
		kinds = append(kinds, w.Type)
	}
	require.Equal(t, []string{"Device", "Procedure", "Observation", "DiagnosticReport", "Procedure", "Provenance"}, kinds)
}

// TestACrashBetweenAnyTwoStepsDoublesNothing ends the delivery at the n-th
// write, before it or after it was stored, for every n, with the ledger as it
// was then, and lets another process go on.
func TestACrashBetweenAnyTwoStepsDoublesNothing(t *testing.T) {
	t.Parallel()
	for name, c := range lowerRungs {
		for way, fault := range map[string]func(http.Handler, http.ResponseWriter, *http.Request){
			"before": resetBefore, "after": resetAfter, "500 after": after(func(w http.ResponseWriter, _ *httptest.ResponseRecorder) { w.WriteHeader(500) }),
			"half an answer": after(halfAnAnswer), "429": status(429, "Retry-After", "0"),
		} {
			t.Run(name+"/"+way, func(t *testing.T) {
				t.Parallel()
				reached := 0
				for n := 1; n <= 12; n++ {
					b := newBench(t)
					b.Shape(c.shape)
					ledger := delivery.NewMemoryLedger()
					engine := func() *delivery.Engine {
						return delivery.NewEngine(b.target(t, c.target), delivery.EngineOptions{Ledger: ledger, Void: voided})
					}
					seen := atomic.Int32{}
					b.faults.plan(func(r *http.Request) bool {
						return isWrite(r) && int(seen.Add(1)) == n
					}, fault)
					for sequence, status := range []string{"final", "amended"} {
						g := circular("crash", sequence+1, status)
						_, err := engine().Deliver(context.Background(), g)
						for tries := 0; err != nil; tries++ {
							reached = n
							var f *delivery.Failure
							require.ErrorAs(t, err, &f)
							require.Contains(t, []target.Class{target.Unknown, target.Retry}, f.Class, "write %d", n)
							require.Less(t, tries, 3)
							_, err = delivery.DeliverInDoubt(engine(), context.Background(), g)
						}
					}
					require.Len(t, b.byKey(t), 7, "write %d", n)
					report := b.Resources("DiagnosticReport")[0]
					require.Equal(t, "amended", report["status"])
					require.Equal(t, "2", report["meta"].(map[string]any)["versionId"], "write %d: a version without a reason", n)
					require.NotEmpty(t, b.Resources("Procedure")[0]["report"])
				}
				require.GreaterOrEqual(t, reached, 3, "the faults have to hit")
			})
		}
	}
}

// forgetful is a ledger of a process that dies at the n-th thing it writes down.
type forgetful struct {
	delivery.Ledger
	dies int
}

func (l *forgetful) Record(ctx context.Context, target, caseKey string, entries []store.LedgerEntry, complete int) error {
	if l.dies--; l.dies == 0 {
		return errors.New("the process died")
	}
	return l.Ledger.Record(ctx, target, caseKey, entries, complete)
}

// TestDeathBetweenAWriteAndItsLedgerLine is the other half: the target has it,
// the ledger has not.
func TestDeathBetweenAWriteAndItsLedgerLine(t *testing.T) {
	t.Parallel()
	for name, c := range lowerRungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			died := 0
			for n := 1; n <= 10; n++ {
				b := newBench(t)
				b.Shape(c.shape)
				ledger := delivery.NewMemoryLedger()
				g := circular("death", 1, "final")
				mortal := delivery.NewEngine(b.target(t, c.target), delivery.EngineOptions{Ledger: &forgetful{ledger, n}, Void: voided})
				if _, err := mortal.Deliver(context.Background(), g); err != nil {
					died++
					next := delivery.NewEngine(b.target(t, c.target), delivery.EngineOptions{Ledger: ledger, Void: voided})
					_, err = delivery.DeliverInDoubt(next, context.Background(), g)
					require.NoError(t, err, "line %d", n)
				}
				require.Len(t, b.byKey(t), 5)
				require.Equal(t, "1", b.Resources("DiagnosticReport")[0]["meta"].(map[string]any)["versionId"])
				require.NotEmpty(t, b.Resources("Procedure")[0]["report"])
			}
			require.GreaterOrEqual(t, died, 2)
		})
	}
}

func isWrite(r *http.Request) bool {
	return (r.Method == http.MethodPost || r.Method == http.MethodPut) && !strings.HasSuffix(r.URL.Path, "_search")
}

// rival acts right after a request that is wanted, on a server whose shape lets
// it: the rival has conditions of its own.
func (b *bench) rival(wants func(*http.Request) bool, shape practice.Shape, acts func()) {
	b.faults.plan(wants, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(w, r)
		b.Shape(practice.Shape{})
		acts()
		b.Shape(shape)
	})
}

func TestADoubleMadeByARaceStopsTheCase(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"4 after a search", "3 conditional update"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			c := lowerRungs[name]
			b.Shape(c.shape)
			e := b.engine(t, c.target)
			g := scene{name: "race", sequence: 1}.graph()
			_, err := e.Deliver(context.Background(), g)
			require.NoError(t, err)
			// Another sender stores the same Observation between our search and our write.
			g = scene{name: "race", sequence: 2, histology: true}.graph()
			var rival string
			for _, r := range g.Resources {
				if r.Role == "histology/1/type" {
					rival = strings.ReplaceAll(string(r.Body), "Patient?identifier=https://enbloc.example/fhir/sid/patient|HTEST-PAT-0001", "Patient/"+b.Resources("Patient")[0]["id"].(string))
				}
			}
			b.rival(func(r *http.Request) bool { return isWrite(r) && r.Method == http.MethodPost }, c.shape, func() {
				require.Equal(t, 201, b.post(t, "Observation", rival))
			})
			_, err = e.Deliver(context.Background(), g)
			f := requireReason(t, err, delivery.Doubled)
			require.Equal(t, target.Conflict, f.Class)
			require.Equal(t, "histology/1/type", f.Conflicts[0].Role)
		})
	}
}

func TestARefusalInTheMiddleHidesTheReport(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	c := lowerRungs["4 with a condition"]
	b.Shape(c.shape)
	g := scene{name: "middle", sequence: 1}.graph()
	good := g.Resources[2].Body
	g.Resources[2].Body = json.RawMessage(strings.Replace(string(good), `"status":"final"`, `"status":"finished"`, 1))
	g.Resources[2].Pointers = []string{"/lesions/0/size_mm"}
	ledger := delivery.NewMemoryLedger()
	e := delivery.NewEngine(b.target(t, c.target), delivery.EngineOptions{Ledger: ledger, Void: voided})
	_, err := e.Deliver(context.Background(), g)
	f := requireReason(t, err, delivery.Refused)
	require.Equal(t, delivery.Problem{Role: "lesion/1/size", Report: []string{"/lesions/0/size_mm"}, Path: "Observation.status", Severity: "error", Code: "value"}, f.Problems[0])
	require.Empty(t, b.Resources("DiagnosticReport"), "a report without its parts is never seen")
	require.Empty(t, b.Resources("Provenance"))
	// The mapping is corrected and the same state sent again.
	g.Resources[2].Body = good
	_, err = e.Deliver(context.Background(), g)
	require.NoError(t, err)
	require.Len(t, b.byKey(t), 5)
}

func TestADocumentForEachState(t *testing.T) {
	t.Parallel()
	for name, shape := range map[string]practice.Shape{
		"with a condition": {OnlyDocuments: true}, "conditions ignored": {OnlyDocuments: true, IgnoresConditions: true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(shape)
			ledger := delivery.NewMemoryLedger()
			e := delivery.NewEngine(b.target(t, func(t *delivery.Target) { t.Rung = delivery.RungDocument }), delivery.EngineOptions{Ledger: ledger, Void: voided})
			for sequence, status := range []string{"final", "amended", "corrected"} {
				g := scene{name: "doc", sequence: sequence + 1, histology: sequence > 0, status: status}.graph()
				b.faults.plan(isWrite, resetAfter) // each answer is lost once
				_, err := e.Deliver(context.Background(), g)
				require.True(t, requireFailure(t, err).Uncertain)
				got, err := delivery.DeliverInDoubt(e, context.Background(), g)
				require.NoError(t, err)
				require.Empty(t, got.Alarms())
				_, err = e.Deliver(context.Background(), g)
				require.NoError(t, err)
			}
			docs := b.Resources("DocumentReference")
			require.Len(t, docs, 3, "one for each state, however often it was sent")
			require.Equal(t, 3, b.writes())
			require.NotContains(t, docs[0], "relatesTo")
			for i, status := range []string{"final", "amended", "amended"} {
				require.Equal(t, status, docs[i]["docStatus"])
				if i > 0 {
					require.Equal(t, []any{map[string]any{"code": "replaces", "target": map[string]any{"reference": "DocumentReference/" + docs[i-1]["id"].(string)}}}, docs[i]["relatesTo"])
				}
			}
			require.Equal(t, "Patient/"+b.Resources("Patient")[0]["id"].(string), docs[0]["subject"].(map[string]any)["reference"])
			requireAttachments(t, docs[2])
		})
	}
}

// requireAttachments opens both attachments of a document.
func requireAttachments(t testing.TB, doc map[string]any) {
	t.Helper()
	open := func(i int) (string, []byte) {
		a := doc["content"].([]any)[i].(map[string]any)["attachment"].(map[string]any)
		data, err := base64.StdEncoding.DecodeString(a["data"].(string))
		require.NoError(t, err)
		return a["contentType"].(string), data
	}
	kind, data := open(0)
	require.Equal(t, "application/fhir+json", kind)
	var bundle struct {
		Type  string
		Entry []struct{ Resource map[string]any }
	}
	require.NoError(t, json.Unmarshal(data, &bundle))
	require.Equal(t, "collection", bundle.Type)
	require.Len(t, bundle.Entry, 6)
	require.Contains(t, string(data), `"value":22.50`, "digits stay")
	require.NotContains(t, string(data), "?identifier=", "nothing that only a server could resolve")
	kind, data = open(1)
	require.Equal(t, "text/html; charset=utf-8", kind)
	require.Contains(t, string(data), "<p>HTEST &amp; more</p>")
}

func TestFilesAreWholeInOrderAndNeverOverwritten(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "out")
	ledger := delivery.NewMemoryLedger()
	engine := func(l delivery.Ledger) *delivery.Engine {
		return delivery.NewEngine(delivery.Target{Name: "files", Rung: delivery.RungFile, Folder: folder}, delivery.EngineOptions{Ledger: l, Void: voided})
	}
	first, second := scene{name: "file", sequence: 1, event: true}.graph(), scene{name: "file", sequence: 2, status: "amended"}.graph()

	// Dead between the file and the ledger: the next process finds its own file.
	_, err := engine(&forgetful{ledger, 1}).Deliver(context.Background(), first)
	require.Error(t, err)
	got, err := delivery.DeliverInDoubt(engine(ledger), context.Background(), first)
	require.NoError(t, err)
	require.Equal(t, len(first.Resources), got.Count(delivery.Found))
	_, err = engine(ledger).Deliver(context.Background(), second)
	require.NoError(t, err)
	_, err = engine(ledger).Deliver(context.Background(), first)
	requireReason(t, err, delivery.LaterDelivered)

	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, files, 2, "no rest of a half written file")
	require.Equal(t, delivery.FileName(first.CaseKey, 1), files[0].Name())
	raw, err := os.ReadFile(filepath.Join(folder, files[1].Name()))
	require.NoError(t, err)
	lines := strings.Split(strings.TrimRight(string(raw), "\n"), "\n")
	require.Len(t, lines, len(second.Resources)+1, "what has left the case stands in it too, marked")
	require.Contains(t, lines[0], `"retracted"`)
	for _, l := range lines {
		require.True(t, json.Valid([]byte(l)))
		require.NotContains(t, l, "urn:uuid:")
	}
	// Somebody else's file under the name is left as it is.
	third := scene{name: "file", sequence: 3}.graph()
	require.NoError(t, os.WriteFile(filepath.Join(folder, delivery.FileName(third.CaseKey, 3)), []byte("other\n"), 0o600))
	_, err = engine(ledger).Deliver(context.Background(), third)
	requireReason(t, err, delivery.OtherContent)
}

func TestAFolderThatCannotBeWrittenIsTriedAgain(t *testing.T) {
	t.Parallel()
	blocked := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(blocked, nil, 0o600))
	e := delivery.NewEngine(delivery.Target{Name: "files", Rung: delivery.RungFile, Folder: filepath.Join(blocked, "below")}, delivery.EngineOptions{})
	_, err := e.Deliver(context.Background(), scene{name: "blocked", sequence: 1}.graph())
	f := requireReason(t, err, delivery.FolderNotWritable)
	require.Equal(t, target.Retry, f.Class)
	require.NotContains(t, err.Error(), blocked)
}

func TestTestDataAndPatientsAreKeptApart(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plain := scene{name: "audience", sequence: 1}.graph()
	label := scene{name: "audience", sequence: 1}.graph()
	for i, r := range label.Resources {
		body := string(r.Body)
		if strings.Contains(body, `"meta":{`) {
			body = strings.Replace(body, `"meta":{`, `"meta":{"security":[{"code":"HTEST","system":"http://terminology.hl7.org/CodeSystem/v3-ActReason"}],`, 1)
		} else {
			body = `{"meta":{"security":[{"code":"HTEST","system":"http://terminology.hl7.org/CodeSystem/v3-ActReason"}]},` + body[1:]
		}
		label.Resources[i].Body = json.RawMessage(body)
	}
	serves := func(a delivery.Audience) func(*delivery.Target) {
		return func(t *delivery.Target) { t.Serves = a }
	}
	_, err := b.engine(t, serves(delivery.ForPatients)).Deliver(context.Background(), label)
	requireReason(t, err, delivery.WrongAudience)
	_, err = b.engine(t, serves(delivery.ForTests)).Deliver(context.Background(), plain)
	requireReason(t, err, delivery.WrongAudience)
	// One label missing, or HTEST as text somewhere else, is no test data.
	label.Resources[1].Body = plain.Resources[1].Body
	_, err = b.engine(t, serves(delivery.ForTests)).Deliver(context.Background(), label)
	requireReason(t, err, delivery.WrongAudience)
	require.Zero(t, b.writes())
	_, err = b.engine(t, serves(delivery.ForPatients)).Deliver(context.Background(), plain)
	require.NoError(t, err)
}
