//go:build peers

package delivery_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
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

// realServer is the HAPI FHIR server at ENBLOC_TEST_HAPI, behind the same place
// for faults as the practice receiver.
func realServer(t testing.TB) *bench {
	t.Helper()
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start a HAPI FHIR server and give its base URL in ENBLOC_TEST_HAPI")
	u, err := url.Parse(base)
	require.NoError(t, err)
	b := &bench{faults: &faults{next: practice.Forward(u)}}
	web := httptest.NewServer(b.faults)
	t.Cleanup(web.Close)
	b.url = web.URL + u.Path
	seedReal(t, b)
	return b
}

// seedReal makes sure that the scenario's patient and encounter are there once.
func seedReal(t testing.TB, b *bench) {
	client := b.target(t).Client
	entry := func(kind, system, value, more string) string {
		return `{"fullUrl":"urn:uuid:` + uuid.NewString() + `","resource":{"resourceType":"` + kind + `","identifier":[{"system":"` + system + `","value":"` + value + `"}]` + more +
			`},"request":{"method":"POST","url":"` + kind + `","ifNoneExist":"identifier=` + system + `|` + value + `"}}`
	}
	body := `{"resourceType":"Bundle","type":"transaction","entry":[` + entry("Patient", practice.PatientSystem, "HTEST-PAT-0001", "") + `,` +
		entry("Encounter", practice.EncounterSystem, "HTEST-ENC-0001", `,"status":"finished","class":{"code":"IMP"}`) + `]}`
	require.Eventually(t, func() bool { return client.Transaction(context.Background(), []byte(body)).Status == 200 }, time.Minute, 100*time.Millisecond)
}

// standing counts what a case has on the server, by type, by its case tag.
func standing(t testing.TB, b *bench, caseKey string) map[string]int {
	t.Helper()
	counts := map[string]int{}
	for _, kind := range []string{"Procedure", "Observation", "AdverseEvent", "DiagnosticReport", "Provenance"} {
		hits, a := b.target(t).Client.Search(context.Background(), fhirserver.Query{Type: kind, Param: "_tag", Values: []string{fhirserver.Token(graph.CaseKeySystem, caseKey)}})
		require.NoError(t, a.Err)
		if len(hits) > 0 {
			counts[kind] = len(hits)
		}
	}
	return counts
}

func TestARealServerTakesACaseThroughItsStates(t *testing.T) {
	b := realServer(t)
	device := uuid.NewString() // both rungs share it
	for rungName, rung := range rungs {
		t.Run(rungName, func(t *testing.T) {
			name := uuid.NewString()
			e := b.engine(t, rung)
			for sequence, s := range []scene{
				{}, {histology: true, status: "amended"}, {histology: true, event: true, status: "corrected", size: "23.0"}, {histology: true, status: "corrected", size: "23.0"},
			} {
				s.name, s.device, s.sequence = name, device, sequence+1
				got, err := e.Deliver(context.Background(), s.graph())
				require.NoError(t, err, "state %d", s.sequence)
				require.Empty(t, got.Alarms(), "state %d", s.sequence)
				again, err := delivery.DeliverInDoubt(e, context.Background(), s.graph())
				require.NoError(t, err)
				require.Zero(t, again.Count(delivery.Created)+again.Count(delivery.Updated)+again.Count(delivery.Voided))
				require.Empty(t, again.Alarms())
			}
			require.Equal(t, map[string]int{"Procedure": 1, "Observation": 2, "AdverseEvent": 1, "DiagnosticReport": 1, "Provenance": 1}, standing(t, b, scene{name: name}.caseKey()))
		})
	}
}

func TestARealServerEndsEveryDoubtWithoutADouble(t *testing.T) {
	b := realServer(t)
	for rungName, rung := range rungs {
		for fault, serve := range map[string]func(http.Handler, http.ResponseWriter, *http.Request){
			"reset before": resetBefore, "reset after": resetAfter, "half an answer": after(halfAnAnswer),
		} {
			t.Run(rungName+"/"+fault, func(t *testing.T) {
				name := uuid.NewString()
				e := b.engine(t, rung)
				for sequence := 1; sequence <= 2; sequence++ {
					s := scene{name: name, device: name, sequence: sequence, event: true, histology: sequence > 1, status: []string{"", "final", "amended"}[sequence]}
					// The new device goes first, in a transaction of its own.
					if sequence == 1 {
						b.faults.plan(transactions, func(next http.Handler, w http.ResponseWriter, r *http.Request) { next.ServeHTTP(w, r) })
					}
					b.faults.plan(transactions, serve)
					_, err := e.Deliver(context.Background(), s.graph())
					require.True(t, requireFailure(t, err).Uncertain)
					_, err = delivery.DeliverInDoubt(e, context.Background(), s.graph())
					require.NoError(t, err)
				}
				require.Equal(t, map[string]int{"Procedure": 1, "Observation": 2, "AdverseEvent": 1, "DiagnosticReport": 1, "Provenance": 1}, standing(t, b, scene{name: name}.caseKey()))
			})
		}
	}
}

func TestARealServerShowsAForeignChangeAsAConflict(t *testing.T) {
	b := realServer(t)
	name := uuid.NewString()
	e := b.engine(t)
	first, err := e.Deliver(context.Background(), scene{name: name, device: name, sequence: 1}.graph())
	require.NoError(t, err)
	var id string
	for _, i := range first.Items {
		if i.Type == "DiagnosticReport" {
			id = i.ServerID
		}
	}
	client := b.target(t).Client
	var report map[string]any
	require.NoError(t, json.Unmarshal(client.Read(context.Background(), "DiagnosticReport", id).Body, &report))
	report["conclusion"] = "HTEST by another hand"
	body, err := json.Marshal(report)
	require.NoError(t, err)
	a := client.Transaction(context.Background(), []byte(`{"resourceType":"Bundle","type":"transaction","entry":[{"resource":`+string(body)+`,"request":{"method":"PUT","url":"DiagnosticReport/`+id+`"}}]}`))
	require.Equal(t, 200, a.Status)

	_, err = e.Deliver(context.Background(), scene{name: name, device: name, sequence: 2, status: "amended"}.graph())
	f := requireReason(t, err, delivery.ChangedByOthers)
	require.Equal(t, "DiagnosticReport.conclusion", f.Conflicts[0].Path)

	_, err = e.Deliver(context.Background(), scene{name: name + "x", device: name, sequence: 1, status: "finished"}.graph())
	f = requireReason(t, err, delivery.Refused)
	require.NotEmpty(t, f.Problems)
	require.NotContains(t, f.Error()+fmt.Sprint(f.Problems), "finished", "the server's text is not passed on")
}

// TestTwoSendersOfOneCaseMakeOneRecord has eight engines without a common
// ledger bring the same new case at the same moment: more than the service ever
// allows itself.
func TestTwoSendersOfOneCaseMakeOneRecord(t *testing.T) {
	b := realServer(t)
	name := uuid.NewString()
	g := scene{name: name, device: name, sequence: 1, event: true}.graph()
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			e := b.engine(t)
			for range 20 {
				if _, err := delivery.DeliverInDoubt(e, context.Background(), g); err == nil {
					return
				} else if !strings.Contains(err.Error(), string(delivery.LostRace)) {
					t.Error(err)
					return
				}
			}
			t.Error("never came through")
		})
	}
	wait.Wait()
	require.Equal(t, map[string]int{"Procedure": 1, "Observation": 1, "AdverseEvent": 1, "DiagnosticReport": 1, "Provenance": 1}, standing(t, b, g.CaseKey))
}

// A copy beside what stands is marked on a server that others wrote, and both
// stay to be seen.
func TestARealServerHasACopyMarked(t *testing.T) {
	b := realServer(t)
	g := scene{name: uuid.NewString(), sequence: 1}.graph()
	ctx := context.Background()
	first, err := b.engine(t).Deliver(ctx, g)
	require.NoError(t, err)
	client := b.target(t).Client
	for _, i := range first.Items {
		if i.Role == "lesion/1/size" {
			a := client.Read(ctx, i.Type, i.ServerID)
			require.NoError(t, a.Err)
			require.Equal(t, http.StatusCreated, client.Create(ctx, i.Type, a.Body, "").Status)
		}
	}
	result, err := delivery.DeliverInDoubt(b.engine(t), ctx, g)
	require.NoError(t, err)
	require.Len(t, result.Doubles, 1)
	marked := client.Read(ctx, "Observation", result.Doubles[0].ServerID)
	require.Contains(t, string(marked.Body), "entered-in-error")
	require.Equal(t, map[string]int{"Procedure": 1, "Observation": 2, "DiagnosticReport": 1, "Provenance": 1}, standing(t, b, g.CaseKey))
	again, err := delivery.DeliverInDoubt(b.engine(t), ctx, g)
	require.NoError(t, err)
	require.Empty(t, again.Doubles)
}

// HAPI refuses a transaction for a code that it cannot read and names no entry;
// asked about each part alone, it refuses the one that it means.
func TestARealServerShowsThePartItMeans(t *testing.T) {
	b := realServer(t)
	g := scene{name: uuid.NewString(), device: uuid.NewString(), sequence: 1, histology: true}.graph()
	for i, res := range g.Resources {
		if res.Role == "lesion/1/size" {
			g.Resources[i].Body = bytes.Replace(res.Body, []byte(`"status":"final"`), []byte(`"status":"htest-no-such-status"`), 1)
			require.NotEqual(t, string(res.Body), string(g.Resources[i].Body))
		}
	}
	_, err := b.engine(t).Deliver(context.Background(), g)
	f := requireReason(t, err, delivery.Refused)
	require.Equal(t, "lesion/1/size", f.Problems[0].Role, f.Problems)
	require.Len(t, f.Problems, 1)
	t.Log(f.Problems)
	require.Empty(t, standing(t, b, g.CaseKey))
}
