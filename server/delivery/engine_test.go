package delivery_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/target"
)

var rungs = map[string]func(*delivery.Target){
	"conditional create": func(t *delivery.Target) { t.Rung = delivery.RungConditionalCreate },
	"client ids":         func(t *delivery.Target) { t.Rung = delivery.RungClientIDs },
}

func TestACaseLivesThroughItsStates(t *testing.T) {
	t.Parallel()
	for name, rung := range rungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			e := b.engine(t, rung)
			ctx := context.Background()

			first, err := e.Deliver(ctx, scene{name: "A", sequence: 1}.graph())
			require.NoError(t, err)
			require.Equal(t, 5, first.Count(delivery.Created))
			require.Empty(t, first.Alarms())

			second, err := e.Deliver(ctx, scene{name: "A", sequence: 2, histology: true, event: true, status: "amended"}.graph())
			require.NoError(t, err)
			require.Equal(t, 2, second.Count(delivery.Created))
			require.Equal(t, 1, second.Count(delivery.Updated))
			require.Equal(t, 4, second.Count(delivery.Unchanged))

			third, err := e.Deliver(ctx, scene{name: "A", sequence: 3, status: "amended"}.graph())
			require.NoError(t, err)
			require.Equal(t, 2, third.Count(delivery.Voided), "what the state has no longer is marked")

			require.Len(t, b.byKey(t), 7)
			require.Equal(t, 5+3+2, b.writes(), "every version has its reason")
			require.Equal(t, "amended", b.Resources("DiagnosticReport")[0]["status"])
			require.Equal(t, "entered-in-error", b.Resources("Observation")[1]["status"])
		})
	}
}

func TestTheSameStateAgainWritesNothing(t *testing.T) {
	t.Parallel()
	for name, rung := range rungs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			g := scene{name: "B", sequence: 1, event: true}.graph()
			e := b.engine(t, rung)
			_, err := e.Deliver(context.Background(), g)
			require.NoError(t, err)
			wrote := b.writes()

			again, err := e.Deliver(context.Background(), g)
			require.NoError(t, err)
			require.Equal(t, len(g.Resources), again.Count(delivery.Unchanged))
			require.Equal(t, wrote, b.writes())

			// Another process, which remembers nothing, finds what stands.
			stranger, err := b.engine(t, rung, func(t *delivery.Target) { t.Adopt = true }).Deliver(context.Background(), g)
			require.NoError(t, err)
			require.Equal(t, len(g.Resources), stranger.Count(delivery.Found))
			require.Equal(t, wrote, b.writes())
		})
	}
}

func TestASingleSendBringsAnOlderRecordForward(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	adopt := func(t *delivery.Target) { t.Adopt = true }
	_, err := b.engine(t, adopt).Deliver(context.Background(), scene{name: "C", sequence: 1}.graph())
	require.NoError(t, err)
	got, err := b.engine(t, adopt).Deliver(context.Background(), scene{name: "C", sequence: 2, size: "30.0", status: "corrected"}.graph())
	require.NoError(t, err)
	require.Equal(t, 2, got.Count(delivery.Updated))
	require.Equal(t, json.Number("30.0"), b.Resources("Observation")[0]["valueQuantity"].(map[string]any)["value"])
	require.Len(t, b.byKey(t), 5)
}

func TestAnOlderStateIsRefusedOnceALaterStands(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	e := b.engine(t)
	_, err := e.Deliver(context.Background(), scene{name: "D", sequence: 2}.graph())
	require.NoError(t, err)
	_, err = e.Deliver(context.Background(), scene{name: "D", sequence: 1, size: "5"}.graph())
	requireReason(t, err, delivery.LaterDelivered)
	require.Equal(t, 5, b.writes())
}

func TestThePatientMustBeExactlyOne(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx := context.Background()
	_, err := b.engine(t).Deliver(ctx, scene{name: "E", sequence: 1, patient: "HTEST-PAT-NEW"}.graph())
	f := requireReason(t, err, delivery.WaitingForPatient)
	require.Equal(t, target.Park, f.Class)
	require.Zero(t, b.writes())

	seed := func(more map[string]any) {
		_, err := b.Seed("Patient", "https://enbloc.example/fhir/sid/patient", "HTEST-PAT-NEW", more)
		require.NoError(t, err)
	}
	seed(nil)
	_, err = b.engine(t).Deliver(ctx, scene{name: "E", sequence: 1, patient: "HTEST-PAT-NEW"}.graph())
	require.NoError(t, err)
	seed(nil)
	_, err = b.engine(t).Deliver(ctx, scene{name: "E2", sequence: 1, patient: "HTEST-PAT-NEW"}.graph())
	requireReason(t, err, delivery.PatientAmbiguous)

	_, err = b.Seed("Patient", "https://enbloc.example/fhir/sid/patient", "HTEST-PAT-OLD", map[string]any{"link": []any{map[string]any{"type": "replaced-by"}}})
	require.NoError(t, err)
	_, err = b.engine(t).Deliver(ctx, scene{name: "E3", sequence: 1, patient: "HTEST-PAT-OLD"}.graph())
	requireReason(t, err, delivery.PatientMerged)
}

func TestWhoIsNotFoundIsNamedByIdentifier(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	logical := func(t *delivery.Target) { t.Patient = delivery.PatientLogical }
	_, err := b.engine(t, logical).Deliver(context.Background(), scene{name: "F", sequence: 1, patient: `HTEST%5C%7CPAT`}.graph())
	require.NoError(t, err)
	p := b.Resources("Procedure")[0]
	require.Equal(t, map[string]any{"type": "Patient", "identifier": map[string]any{"system": "https://enbloc.example/fhir/sid/patient", "value": "HTEST|PAT"}}, p["subject"])
	actor := p["performer"].([]any)[0].(map[string]any)["actor"].(map[string]any)
	require.Equal(t, "Practitioner", actor["type"])
	require.Equal(t, "HTEST-PRA-NOBODY", actor["identifier"].(map[string]any)["value"])
	require.Regexp(t, `^Encounter/\d+$`, p["encounter"].(map[string]any)["reference"])
	require.Len(t, b.Resources("Practitioner"), 2, "nobody was created")
}

// TestWhateverFailsNothingIsDoubled plays each fault once at the first and once
// at the second state, then tries again as the worker would: with doubt where
// the failure was uncertain.
func TestWhateverFailsNothingIsDoubled(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		serve func(http.Handler, http.ResponseWriter, *http.Request)
		class target.Class
		after time.Duration
		doubt bool
	}{
		"reset before the commit": {resetBefore, target.Unknown, 0, true},
		"reset after the commit":  {resetAfter, target.Unknown, 0, true},
		"500":                     {status(500), target.Unknown, 0, true},
		"500 after the commit":    {after(func(w http.ResponseWriter, _ *httptest.ResponseRecorder) { w.WriteHeader(500) }), target.Unknown, 0, true},
		"504 after the commit":    {after(func(w http.ResponseWriter, _ *httptest.ResponseRecorder) { w.WriteHeader(504) }), target.Unknown, 0, true},
		"202":                     {status(202), target.Unknown, 0, true},
		"202 and stored later": {func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			next.ServeHTTP(httptest.NewRecorder(), r)
			w.Header().Set("Retry-After", "9")
			w.WriteHeader(http.StatusAccepted)
		}, target.Unknown, 9 * time.Second, true},
		"half an answer":      {after(halfAnAnswer), target.Unknown, 0, true},
		"200 around nonsense": {after(func(w http.ResponseWriter, _ *httptest.ResponseRecorder) { _, _ = w.Write([]byte("<html>")) }), target.Unknown, 0, true},
		"429 in seconds":      {status(429, "Retry-After", "7"), target.Retry, 7 * time.Second, false},
		"503":                 {status(503), target.Retry, 0, true},
		"401":                 {status(401), target.Auth, 0, false},
		"403":                 {status(403), target.Auth, 0, false},
		"404":                 {status(404), target.StepDown, 0, false},
		"302":                 {status(302, "Location", "http://elsewhere.example/"), target.Retry, 0, false},
	}
	for rungName, rung := range rungs {
		for name, c := range cases {
			t.Run(rungName+"/"+name, func(t *testing.T) {
				t.Parallel()
				b := newBench(t)
				e := b.engine(t, rung)
				for sequence := 1; sequence <= 2; sequence++ {
					g := scene{name: "G", sequence: sequence, histology: sequence > 1, status: []string{"", "final", "amended"}[sequence]}.graph()
					// The second transaction of the first state: shared things go first.
					if sequence == 1 {
						b.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) { next.ServeHTTP(w, r) })
					}
					b.faults.plan(transactions, c.serve)
					_, err := e.Deliver(context.Background(), g)
					f := requireFailure(t, err)
					require.Equal(t, c.class, f.Class)
					require.Equal(t, c.after, f.After)
					require.Equal(t, c.doubt, f.Uncertain)
					require.NotContains(t, err.Error(), "HTEST")

					got, err := delivery.DeliverInDoubt(e, context.Background(), g)
					require.NoError(t, err)
					require.Empty(t, got.Alarms())
				}
				require.Len(t, b.byKey(t), 6)
				require.Equal(t, 5+2, b.writes(), "no version without a reason")
			})
		}
	}
}

// TestATransactionThatCommitsWhileItIsLookedFor holds back a transaction beyond
// the patience of its sender and lets it be committed between two searches.
func TestATransactionThatCommitsWhileItIsLookedFor(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	e := b.engine(t)
	g := scene{name: "late", sequence: 1, event: true}.graph()
	var late *http.Request
	b.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) { next.ServeHTTP(w, r) })
	b.faults.plan(transactions, func(_ http.Handler, w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		late = httptest.NewRequest(r.Method, r.URL.Path, bytes.NewReader(body))
		late.Header = r.Header.Clone()
		reset(w)
	})
	_, err := e.Deliver(context.Background(), g)
	require.True(t, requireFailure(t, err).Uncertain)
	require.Len(t, b.byKey(t), 1, "only the device stands")

	// The search for the Procedure has found nothing when the case appears.
	b.faults.plan(func(r *http.Request) bool { return strings.HasSuffix(r.URL.Path, "/Observation/_search") },
		func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			next.ServeHTTP(httptest.NewRecorder(), late)
			next.ServeHTTP(w, r)
		})
	got, err := delivery.DeliverInDoubt(e, context.Background(), g)
	require.NoError(t, err)
	require.Equal(t, 5, got.Count(delivery.Found))
	require.Equal(t, 6, b.writes())
}

// TestALostRaceHasManyNames answers a stale update as four servers do: 409, 412,
// 400 in a transaction, and 200 around a failed entry.
func TestALostRaceHasManyNames(t *testing.T) {
	t.Parallel()
	outcome := `{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"processing","diagnostics":"HTEST secret"}]}`
	names := map[string]func(w http.ResponseWriter, real *httptest.ResponseRecorder){
		"409": func(w http.ResponseWriter, _ *httptest.ResponseRecorder) {
			w.WriteHeader(409)
			_, _ = w.Write([]byte(outcome))
		},
		"412": func(w http.ResponseWriter, _ *httptest.ResponseRecorder) {
			w.WriteHeader(412)
			_, _ = w.Write([]byte(outcome))
		},
		"400": func(w http.ResponseWriter, _ *httptest.ResponseRecorder) {
			w.WriteHeader(400)
			_, _ = w.Write([]byte(outcome))
		},
		"200 around 412": func(w http.ResponseWriter, _ *httptest.ResponseRecorder) {
			_, _ = w.Write([]byte(`{"resourceType":"Bundle","type":"transaction-response","entry":[{"response":{"status":"412","outcome":` + outcome + `}}]}`))
		},
	}
	for name, answer := range names {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			e := b.engine(t)
			_, err := e.Deliver(context.Background(), scene{name: "H", sequence: 1}.graph())
			require.NoError(t, err)

			// Somebody tags the report: its meta and version move, its content does not.
			report := b.Resources("DiagnosticReport")[0]
			b.put(t, report, func(r map[string]any) {
				meta := r["meta"].(map[string]any)
				meta["tag"] = append(meta["tag"].([]any), map[string]any{"system": "https://other.example", "code": "seen"})
			})
			b.faults.plan(transactions, after(answer))
			got, err := e.Deliver(context.Background(), scene{name: "H", sequence: 2, status: "amended"}.graph())
			require.NoError(t, err)
			require.Equal(t, 1, got.Count(delivery.Updated))
			require.Equal(t, "amended", b.Resources("DiagnosticReport")[0]["status"])

			// Somebody changes the content: the case stops, nothing is overwritten.
			b.put(t, b.Resources("DiagnosticReport")[0], func(r map[string]any) { r["conclusion"] = "HTEST by another hand" })
			wrote := b.writes()
			b.faults.plan(transactions, after(answer))
			_, err = e.Deliver(context.Background(), scene{name: "H", sequence: 3, status: "corrected"}.graph())
			f := requireReason(t, err, delivery.ChangedByOthers)
			require.Equal(t, []delivery.Difference{{Role: "report/endoscopy", Path: "DiagnosticReport.conclusion", Kind: delivery.Added}}, f.Conflicts)
			require.Equal(t, wrote, b.writes())
			require.NotContains(t, err.Error(), "another hand")
		})
	}
}

func TestWhatOthersDeletedOrDoubledStopsTheCase(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	e := b.engine(t)
	_, err := e.Deliver(context.Background(), scene{name: "I", sequence: 1}.graph())
	require.NoError(t, err)
	gone := func(r *http.Request) bool { return strings.Contains(r.URL.Path, "/DiagnosticReport/") }
	b.faults.plan(transactions, status(409))
	b.faults.plan(gone, status(410))
	_, err = e.Deliver(context.Background(), scene{name: "I", sequence: 2, status: "amended"}.graph())
	requireReason(t, err, delivery.DeletedByOthers)

	// A second resource under our key that says something else.
	g := scene{name: "I2", sequence: 1}.graph()
	_, err = b.engine(t).Deliver(context.Background(), g)
	require.NoError(t, err)
	body := string(g.Resources[2].Body)
	body = strings.ReplaceAll(body, g.Resources[1].Reference(), "Procedure/"+b.Resources("Procedure")[1]["id"].(string))
	body = strings.ReplaceAll(body, "Patient?identifier=https://enbloc.example/fhir/sid/patient|HTEST-PAT-0001", "Patient/"+b.Resources("Patient")[0]["id"].(string))
	body = strings.ReplaceAll(body, "22.50", "13.0")
	require.Equal(t, 201, b.post(t, "Observation", body))
	_, err = delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
	f := requireReason(t, err, delivery.Doubled)
	require.Equal(t, "lesion/1/size", f.Conflicts[0].Role)

	// Taken back at the target as entered in error, it is no double any more.
	wrong := func(r map[string]any) { r["status"] = "entered-in-error" }
	doubled := b.Resources("Observation")
	b.put(t, doubled[2], wrong)
	_, err = delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
	require.NoError(t, err)
	// When both are, nobody knows which was ours.
	b.put(t, doubled[1], wrong)
	_, err = delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
	requireReason(t, err, delivery.Doubled)
}

func TestForeignContentUnderOurKeyIsNotOverwritten(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.engine(t).Deliver(context.Background(), scene{name: "J", sequence: 1, size: "12.0"}.graph())
	require.NoError(t, err)
	wrote := b.writes()
	// A service whose ledger was lost, with a newer state.
	_, err = b.engine(t).Deliver(context.Background(), scene{name: "J", sequence: 2, size: "13.0"}.graph())
	f := requireReason(t, err, delivery.OtherContent)
	require.Equal(t, "lesion/1/size", f.Conflicts[0].Role)
	require.Equal(t, "Observation.valueQuantity.value", f.Conflicts[0].Path)
	require.Equal(t, wrote, b.writes())
}

func TestARefusalNamesTheRoleAndTheElement(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	g := scene{name: "K", sequence: 1, status: "finished"}.graph()
	_, err := b.engine(t).Deliver(context.Background(), g)
	f := requireReason(t, err, delivery.Refused)
	require.Equal(t, target.Permanent, f.Class)
	require.Equal(t, "report/endoscopy", f.Problems[0].Role)
	require.Equal(t, "DiagnosticReport.status", f.Problems[0].Path)
	require.Len(t, b.byKey(t), 1, "only the shared device stands")
}

func TestFewerEntriesThanSentAreReadBackByKey(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	fewer := func(w http.ResponseWriter, real *httptest.ResponseRecorder) {
		var bundle map[string]any
		if err := json.Unmarshal(real.Body.Bytes(), &bundle); err == nil {
			bundle["entry"] = bundle["entry"].([]any)[1:]
		}
		_ = json.NewEncoder(w).Encode(bundle)
	}
	b.faults.plan(transactions, after(fewer))
	b.faults.plan(transactions, after(fewer))
	e := b.engine(t)
	got, err := e.Deliver(context.Background(), scene{name: "L", sequence: 1, event: true}.graph())
	require.NoError(t, err)
	require.Len(t, got.Items, 6)
	require.Len(t, b.byKey(t), 6)
	require.Equal(t, 6, b.writes())
	// The ids were learned: the next state updates by them.
	got, err = e.Deliver(context.Background(), scene{name: "L", sequence: 2, event: true, status: "amended"}.graph())
	require.NoError(t, err)
	require.Equal(t, 1, got.Count(delivery.Updated))
}

func TestAnswersOfEveryShapeAreUnderstood(t *testing.T) {
	t.Parallel()
	shapes := map[string]func(response map[string]any){
		"absolute location": func(r map[string]any) { r["location"] = "http://elsewhere.example/x/" + r["location"].(string) },
		"no version in it": func(r map[string]any) {
			r["location"], _, _ = strings.Cut(r["location"].(string), "/_history")
			delete(r, "etag")
		},
		"weak etag":             func(r map[string]any) { r["etag"] = `W/"` + r["etag"].(string) + `"` },
		"no location":           func(r map[string]any) { delete(r, "location") },
		"nothing but a status":  func(r map[string]any) { delete(r, "location"); delete(r, "etag") },
		"a bare status":         func(r map[string]any) { r["status"] = r["status"].(string)[:3] },
		"200 for what was made": func(r map[string]any) { r["status"] = "200 OK" },
	}
	for name, shape := range shapes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			reshape := after(func(w http.ResponseWriter, real *httptest.ResponseRecorder) {
				var bundle map[string]any
				if err := json.Unmarshal(real.Body.Bytes(), &bundle); err == nil {
					for _, e := range bundle["entry"].([]any) {
						shape(e.(map[string]any)["response"].(map[string]any))
					}
				}
				_ = json.NewEncoder(w).Encode(bundle)
			})
			for range 3 {
				b.faults.plan(transactions, reshape)
			}
			e := b.engine(t)
			_, err := e.Deliver(context.Background(), scene{name: "M", sequence: 1, event: true}.graph())
			require.NoError(t, err)
			got, err := e.Deliver(context.Background(), scene{name: "M", sequence: 2, event: true, size: "23", status: "amended"}.graph())
			require.NoError(t, err)
			require.Empty(t, got.Alarms())
			require.Equal(t, 2, got.Count(delivery.Updated))
			require.Equal(t, 8, b.writes())
		})
	}
}

func TestWhatTheTargetLosesRaisesTheAlarm(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	lossy := func(role string) func(*http.Request) bool {
		return func(r *http.Request) bool {
			return r.Method == http.MethodGet && strings.Contains(r.URL.Path, "/"+role+"/")
		}
	}
	b.faults.plan(lossy("Observation"), after(func(w http.ResponseWriter, real *httptest.ResponseRecorder) {
		_, _ = w.Write([]byte(strings.Replace(real.Body.String(), "22.50", "22.5", 1)))
	}))
	b.faults.plan(lossy("DiagnosticReport"), after(func(w http.ResponseWriter, real *httptest.ResponseRecorder) {
		_, _ = w.Write([]byte(strings.Replace(real.Body.String(), `"result"`, `"somethingElse"`, 1)))
	}))
	got, err := b.engine(t).Deliver(context.Background(), scene{name: "N", sequence: 1}.graph())
	require.NoError(t, err)
	require.ElementsMatch(t, []delivery.Difference{
		{Role: "lesion/1/size", Path: "Observation.valueQuantity.value", Kind: delivery.Digits},
		{Role: "report/endoscopy", Path: "DiagnosticReport.result", Kind: delivery.Lost},
	}, got.Alarms())
}

func requireFailure(t testing.TB, err error) *delivery.Failure {
	t.Helper()
	var f *delivery.Failure
	require.ErrorAs(t, err, &f)
	return f
}

func requireReason(t testing.TB, err error, why delivery.Reason) *delivery.Failure {
	t.Helper()
	f := requireFailure(t, err)
	require.Equal(t, why, f.Reason, "%v", f)
	require.NotEmpty(t, why.Sentence())
	return f
}
