package server_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server"
	"enbloc/server/intake"
	"enbloc/server/servertest"
)

func TestWithoutATokenOnlyThisMachineIsServed(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for _, address := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:0", "enbloc.example:0"} {
		open := server.New(server.Options{Listen: address, Store: s.Store, Intake: s.Intake, Delivery: s.Delivery})
		require.ErrorContains(t, open.Listen(), "bearer token", address)
	}
	// A page of another name that points here (DNS rebinding) reads nothing.
	req, err := http.NewRequest(http.MethodGet, s.URL+"/cases", nil)
	require.NoError(t, err)
	req.Host = "attacker.example"
	res, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusForbidden, res.StatusCode)
}

func TestTheTokenOpensAllButWhatIsPublic(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Token: "HTEST-token-0123456789", Undelivered: true})
	require.Equal(t, http.StatusOK, s.Do(http.MethodGet, "/cases", nil).Status)
	for _, wrong := range []string{"", "Bearer HTEST-token-0123456788", "Bearer HTEST", "Bearer", "Basic SFRFU1Q6SFRFU1Q=", "HTEST-token-0123456789"} {
		for _, path := range []string{"/cases", "/deliveries", "/parked", "/rules", "/metrics", "/cases/" + noCase, "/cases/" + noCase + "/fhir"} {
			a := s.Do(http.MethodGet, path, nil, "Authorization", wrong)
			problemOf(t, a, http.StatusUnauthorized)
			require.Contains(t, a.Header.Get("WWW-Authenticate"), "Bearer")
		}
		problemOf(t, s.Do(http.MethodPost, "/cases", example(t, gastricReport), "Authorization", wrong), http.StatusUnauthorized)
	}
	require.Zero(t, s.Rows()["documents"])
	for _, path := range []string{"/health/live", "/openapi.json", "/docs", "/", "/schemas", "/schemas/report/1/report.schema.json"} {
		require.Equal(t, http.StatusOK, s.Do(http.MethodGet, path, nil, "Authorization", "").Status, path)
	}
}

const noCase = "c0000000000000000000000000000000000000000"

func TestWhatIsNotThereIsSaidSo(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for _, path := range []string{"/nothing", "/cases/" + noCase, "/cases/" + noCase + "/assessment", "/cases/" + noCase + "/fhir",
		"/cases/HTEST-R-0101", "/schemas/none.json", "/schemas/../openapi.json", "/cases/"} {
		problemOf(t, s.Do(http.MethodGet, path, nil), http.StatusNotFound)
	}
	for _, path := range []string{"/deliveries/HTEST/resend", "/deliveries/00000000-0000-7000-8000-000000000000/skip", "/deliveries/a%2Fb/skip"} {
		problemOf(t, s.Do(http.MethodPost, path, nil), http.StatusNotFound)
	}
	a := s.Do(http.MethodDelete, "/cases", nil)
	problemOf(t, a, http.StatusMethodNotAllowed)
	require.Contains(t, a.Header.Get("Allow"), "POST")
	for _, query := range []string{"?limit=0", "?limit=201", "?limit=x", "?after=!", "?patient=HTEST-P-0101"} {
		problemOf(t, s.Do(http.MethodGet, "/cases"+query, nil), http.StatusBadRequest)
	}
	for _, query := range []string{"?state=lost", "?case=HTEST", "?target=a%20b"} {
		problemOf(t, s.Do(http.MethodGet, "/deliveries"+query, nil), http.StatusBadRequest)
	}
}

func TestErrorsAreSaidInFHIRToWhoAsksForIt(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	a := s.Do(http.MethodPost, "/cases", example(t, gastricReport, "lesions/0/examination/size_long_mm=22 mm"), "Accept", "application/fhir+json")
	require.Equal(t, http.StatusUnprocessableEntity, a.Status)
	require.Equal(t, "application/fhir+json", a.Header.Get("Content-Type"))
	var o struct {
		ResourceType string
		Issue        []struct {
			Severity, Code, Diagnostics string
			Details                     struct{ Text string }
			Expression                  []string
		}
	}
	require.NoError(t, json.Unmarshal(a.Body, &o))
	require.Equal(t, "OperationOutcome", o.ResourceType)
	require.GreaterOrEqual(t, len(o.Issue), 2)
	require.Equal(t, "invalid", o.Issue[0].Code)
	require.Equal(t, []string{"lesions[0].examination.size_long_mm"}, o.Issue[1].Expression)
	require.Contains(t, o.Issue[1].Diagnostics, "/lesions/0/examination/size_long_mm")
}

func TestTheRequestIsNamed(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for _, id := range []string{"4bf92f3577b34da6a3ce929d0e0e4736", "01890a5d-ac96-774b-bcce-b302099a8057"} {
		require.Equal(t, id, s.Do(http.MethodGet, "/health/live", nil, "X-Request-Id", id).Header.Get("X-Request-Id"))
	}
	// Whatever else a caller sends could name a patient, and is replaced.
	for _, id := range []string{"", "HTEST-P-0101", strings.Repeat("a", 500)} {
		got := s.Do(http.MethodGet, "/health/live", nil, "X-Request-Id", id).Header.Get("X-Request-Id")
		require.Len(t, got, 36)
	}
}

func TestAnIdempotencyKeyStandsForOneRequest(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	key := `"8e03978e-40d5-43dd-bc93-6894a57f9324"`
	first := s.Post("/cases", example(t, gastricReport), "Idempotency-Key", key)
	require.Equal(t, http.StatusAccepted, first.Status)
	s.MustAccept("/histology", example(t, gastricHistology)) // the case moves on
	again := s.Post("/cases", example(t, gastricReport), "Idempotency-Key", strings.Trim(key, `"`))
	require.Equal(t, string(first.Body), string(again.Body), "answered as the first time, whatever happened since")
	require.Equal(t, first.Header.Get("Location"), again.Header.Get("Location"))

	p := problemOf(t, s.Post("/cases", example(t, bleedReport), "Idempotency-Key", key), http.StatusUnprocessableEntity)
	require.Contains(t, p.Type, "idempotency-key-reused")
	problemOf(t, s.Post("/events", example(t, gastricReport), "Idempotency-Key", key), http.StatusUnprocessableEntity)
	for _, bad := range []string{`""`, " ", "a b", "ü", strings.Repeat("k", 256)} {
		problemOf(t, s.Post("/cases", example(t, bleedReport), "Idempotency-Key", bad), http.StatusBadRequest)
	}
	// A refused document uses no key up.
	problemOf(t, s.Post("/cases", example(t, bleedReport, "revision=0"), "Idempotency-Key", "fresh"), http.StatusUnprocessableEntity)
	require.Equal(t, http.StatusAccepted, s.Post("/cases", example(t, bleedReport), "Idempotency-Key", "fresh").Status)
	require.Equal(t, 2, s.Rows()["idempotency"])
}

func TestEightSendersOfOneReportMakeOneCase(t *testing.T) {
	t.Parallel()
	onBothEngines(t, eightSenders)
}

func eightSenders(t *testing.T, database string) {
	s := servertest.Start(t, servertest.Options{Undelivered: true, Database: database})
	report, histology := example(t, gastricReport), example(t, gastricHistology)
	var wg sync.WaitGroup
	answers := make([]servertest.Answer, 16)
	for i := range answers {
		wg.Go(func() {
			if i%2 == 0 {
				answers[i] = s.Post("/cases", report)
			} else {
				answers[i] = s.Post("/histology", histology)
			}
		})
	}
	wg.Wait()
	cases := map[string]bool{}
	for i, a := range answers {
		require.Equal(t, http.StatusAccepted, a.Status, string(a.Body))
		var r intake.Receipt
		require.NoError(t, json.Unmarshal(a.Body, &r))
		if i%2 == 0 {
			cases[r.Case] = true
		}
	}
	require.Len(t, cases, 1)
	rows := s.Rows()
	require.Equal(t, 1, rows["cases"])
	require.Equal(t, 2, rows["documents"])
	var list struct{ Parked []any }
	s.MustGet("/parked", &list)
	require.Empty(t, list.Parked, "part and case do not miss each other")
}

func TestOneKeyUsedByEightAtOnceCountsOnce(t *testing.T) {
	t.Parallel()
	onBothEngines(t, oneKeyForEight)
}

func oneKeyForEight(t *testing.T, database string) {
	s := servertest.Start(t, servertest.Options{Undelivered: true, Database: database})
	report := example(t, gastricReport)
	var wg sync.WaitGroup
	status := make([]int, 8)
	for i := range status {
		wg.Go(func() { status[i] = s.Post("/cases", report, "Idempotency-Key", "one-key").Status })
	}
	wg.Wait()
	for _, got := range status {
		require.Contains(t, []int{http.StatusAccepted, http.StatusConflict}, got)
	}
	require.Contains(t, status, http.StatusAccepted)
	require.Equal(t, 1, s.Rows()["idempotency"])
	require.Equal(t, 1, s.Rows()["cases"])
}

func TestPagesGoThroughAllCases(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	want := map[string]bool{}
	for _, name := range []string{gastricReport, bleedReport, duodenumReport, "06-barrett-esd/01-report.json", "15-many-warnings/01-report.json"} {
		want[s.MustAccept("/cases", example(t, name)).Case] = true
	}
	got := map[string]bool{}
	pages := 0
	for path := "/cases?limit=2"; path != ""; pages++ {
		var page struct {
			Cases []struct {
				Case, Status string
				Summary      struct{ Organs []string }
				Deliveries   []struct{ Target, State string }
			}
			Next string
		}
		s.MustGet(path, &page)
		for _, c := range page.Cases {
			require.False(t, got[c.Case], "shown twice")
			got[c.Case] = true
			require.NotEmpty(t, c.Summary.Organs)
			require.Equal(t, "waiting", c.Deliveries[0].State)
		}
		path = page.Next
	}
	require.Equal(t, want, got)
	require.Equal(t, 3, pages)
}

func TestReadinessNeedsStoreAndDelivery(t *testing.T) {
	t.Parallel()
	running := servertest.Start(t, servertest.Options{})
	require.Equal(t, http.StatusOK, running.Do(http.MethodGet, "/health/ready", nil).Status)
	stopped := servertest.Start(t, servertest.Options{Undelivered: true})
	a := stopped.Do(http.MethodGet, "/health/ready", nil)
	problemOf(t, a, http.StatusServiceUnavailable)
	require.NotEmpty(t, a.Header.Get("Retry-After"))
	require.Equal(t, http.StatusOK, stopped.Do(http.MethodGet, "/health/live", nil).Status)
}
