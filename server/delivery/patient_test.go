package delivery_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/target"
)

func policy(p delivery.PatientPolicy) func(*delivery.Target) {
	return func(t *delivery.Target) { t.Patient = p }
}

func TestTheTargetFindsThePatientItself(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	// A value with everything that has to be escaped, once for FHIR, once for a URL.
	id, err := b.Seed("Patient", practice.PatientSystem, `HTEST|a,b$c\d e`, nil)
	require.NoError(t, err)
	g := scene{name: "conditional", sequence: 1, patient: `HTEST%5C%7Ca%5C%2Cb%5C%24c%5C%5Cd%20e`}.graph()
	got, err := b.engine(t, policy(delivery.PatientConditional)).Deliver(context.Background(), g)
	require.NoError(t, err)
	require.Empty(t, got.Alarms())
	require.Equal(t, "Patient/"+id, b.Resources("Procedure")[0]["subject"].(map[string]any)["reference"])

	_, err = b.engine(t, policy(delivery.PatientConditional)).Deliver(context.Background(), scene{name: "nobody", sequence: 1, patient: "HTEST-NOBODY"}.graph())
	require.Equal(t, target.Park, requireFailure(t, err).Class)
}

// That the target finds the patient is no reason to file a record under one who
// was merged into another, or cannot be the report's. Where patients may not be
// searched, the target's own search is all there is.
func TestThePatientThatATargetFindsIsLookedAtFirst(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		more map[string]any
		want delivery.Reason
	}{
		"merged":      {map[string]any{"link": []any{map[string]any{"type": "replaced-by"}}}, delivery.PatientMerged},
		"inactive":    {map[string]any{"active": false}, delivery.PatientInactive},
		"another age": {map[string]any{"birthDate": "1971"}, delivery.PatientMismatch},
	} {
		b := newBench(t)
		_, err := b.Seed("Patient", practice.PatientSystem, "HTEST-PAT-SOUND", c.more)
		require.NoError(t, err)
		g := scene{name: "sound", sequence: 1, patient: "HTEST-PAT-SOUND"}.graph()
		g.Born = graph.Span{From: "1950-01-01", To: "1951-02-01"}
		e, wrote := b.engine(t, policy(delivery.PatientConditional)), b.writes()
		_, err = e.Deliver(context.Background(), g)
		requireReason(t, err, c.want)
		require.Equal(t, wrote, b.writes(), name)

		for range 2 { // of the Device, and of the case
			b.faults.plan(func(r *http.Request) bool { return strings.HasSuffix(r.URL.Path, "/Patient/_search") }, status(http.StatusForbidden))
		}
		_, err = e.Deliver(context.Background(), g)
		require.NoError(t, err, name)
	}
}

// A target that looks up by itself gets a search for whoever was found here, and
// what stands there is a link; nobody who was not found is searched for.
func TestWhoWasFoundIsLeftToATargetThatLooksUp(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var sent []string
	for range 2 {
		b.faults.plan(func(r *http.Request) bool { return transactions(r) }, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
			body, err := io.ReadAll(r.Body)
			if err != nil {
				t.Error(err)
			}
			sent = append(sent, string(body))
			r.Body = io.NopCloser(bytes.NewReader(body))
			next.ServeHTTP(w, r)
		})
	}
	e := b.engine(t, func(t *delivery.Target) { t.LooksUp = true })
	one := scene{name: "left", sequence: 1}
	got, err := e.Deliver(context.Background(), one.graph())
	require.NoError(t, err)
	require.Empty(t, got.Alarms())
	require.Contains(t, strings.Join(sent, ""), `"reference":"Patient?identifier=`)
	require.Contains(t, strings.Join(sent, ""), `"reference":"Device?identifier=`, "which all cases share")
	require.NotContains(t, strings.Join(sent, ""), `"reference":"Practitioner?`, "nobody of that name is known")
	for _, p := range b.Resources("Procedure") {
		require.Regexp(t, "^Patient/", p["subject"].(map[string]any)["reference"])
	}
	writes := b.writes()
	got, err = delivery.DeliverInDoubt(e, context.Background(), one.graph())
	require.NoError(t, err)
	require.Empty(t, got.Alarms())
	require.Equal(t, writes, b.writes(), "what stands is what was meant")
}

// A target that does not look up after all gets links, in the same attempt and
// from then on.
func TestATargetThatRefusesToLookUpGetsLinks(t *testing.T) {
	t.Parallel()
	for _, code := range []int{http.StatusNotFound, http.StatusBadRequest} {
		b := newBench(t)
		refused := 0
		for range 10 {
			b.faults.plan(func(r *http.Request) bool {
				if !transactions(r) {
					return false
				}
				body, err := io.ReadAll(r.Body)
				if err != nil {
					t.Error(err)
				}
				r.Body = io.NopCloser(bytes.NewReader(body))
				return bytes.Contains(body, []byte(`"reference":"Patient?`))
			}, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
				refused++
				status(code)(next, w, r)
			})
		}
		e := b.engine(t, func(t *delivery.Target) { t.LooksUp = true })
		for _, name := range []string{"first", "second"} {
			got, err := e.Deliver(context.Background(), scene{name: name, sequence: 1}.graph())
			require.NoError(t, err)
			require.Empty(t, got.Alarms())
		}
		require.Equal(t, 1, refused)
		require.Equal(t, delivery.RungConditionalCreate, delivery.PresentRung(e), "which is no reason to step down")
	}
}

// TestAReferenceThatWasKeptAsAQuestionIsAnAlarm: two of four known servers store
// the search itself (measured on Medplum 5.2.13 and WSO2 FHIR Server 1.0.0).
func TestAReferenceThatWasKeptAsAQuestionIsAnAlarm(t *testing.T) {
	t.Parallel()
	sent := []byte(`{"resourceType":"Observation","subject":{"reference":"Patient?identifier=a%7Cb"}}`)
	for read, want := range map[string]int{
		`Patient?identifier=a%7Cb`: 1, `Patient?identifier=a|b`: 1, `Patient/1`: 0, `http://t.example/fhir/Patient/1`: 0, `Device/1`: 1,
	} {
		d, err := delivery.Compare(sent, []byte(`{"resourceType":"Observation","subject":{"reference":"`+read+`"}}`), "http://t.example/fhir")
		require.NoError(t, err)
		require.Len(t, d, want, read)
	}
}

func TestAPatientIsMadeOnlyWhereTheSiteSaysSo(t *testing.T) {
	t.Parallel()
	for name, shape := range map[string]practice.Shape{"with conditions": {}, "without": {IgnoresConditions: true}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.Shape(shape)
			rung := func(t *delivery.Target) {
				t.Rung, t.FirstWrite, t.Patient = delivery.RungSingle, delivery.AfterSearch, delivery.PatientCreate
			}
			e := b.engine(t, rung)
			before := len(b.Resources("Patient"))
			var wait sync.WaitGroup
			for _, n := range []string{"a", "b", "c", "d"} {
				wait.Go(func() {
					_, err := e.Deliver(context.Background(), scene{name: n, sequence: 1, patient: "HTEST-PAT-MADE"}.graph())
					if err != nil {
						t.Error(err)
					}
				})
			}
			wait.Wait()
			patients := b.Resources("Patient")
			require.Len(t, patients, before+1, "four cases, one patient")
			made := patients[before]
			require.Equal(t, []any{map[string]any{"system": practice.PatientSystem, "value": "HTEST-PAT-MADE"}}, made["identifier"])
			require.Len(t, made, 4, "type, id, meta and the identifier: nothing is made up")
			// A lost answer to the creation is no second patient.
			b.faults.plan(func(r *http.Request) bool { return isWrite(r) && strings.HasSuffix(r.URL.Path, "/Patient") }, resetAfter)
			g := scene{name: "lost", sequence: 1, patient: "HTEST-PAT-LOST"}.graph()
			_, err := e.Deliver(context.Background(), g)
			require.Error(t, err)
			_, err = e.Deliver(context.Background(), g)
			require.NoError(t, err)
			require.Len(t, b.Resources("Patient"), before+2)
		})
	}
}

func TestAPatientOfAnotherAgeStopsTheCase(t *testing.T) {
	t.Parallel()
	for birth, stops := range map[string]bool{
		"": false, "1950": false, "1950-06": false, "1950-06-15": false, "1949-12-31": true, "1971": true, "2012-01-01": true, "1951-01": false, "1951-03": true,
	} {
		t.Run(birth, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			more := map[string]any{}
			if birth != "" {
				more["birthDate"] = birth
			}
			_, err := b.Seed("Patient", practice.PatientSystem, "HTEST-PAT-AGE", more)
			require.NoError(t, err)
			g := scene{name: "age", sequence: 1, patient: "HTEST-PAT-AGE"}.graph()
			g.Born = graph.Span{From: "1950-01-01", To: "1951-02-01"}
			_, err = b.engine(t).Deliver(context.Background(), g)
			if !stops {
				require.NoError(t, err)
				return
			}
			f := requireReason(t, err, delivery.PatientMismatch)
			require.Equal(t, target.Conflict, f.Class)
			require.NotContains(t, err.Error(), birth)
		})
	}
}
