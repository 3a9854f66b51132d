package server_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/servertest"
)

// standing counts what the receiver holds of a case, by type, and checks that
// every role of the case's present graph is there exactly once.
func standing(t *testing.T, s *servertest.Service, caseKey string, sequence int) map[string]int {
	t.Helper()
	g, err := s.Intake.Graph(context.Background(), caseKey, sequence)
	require.NoError(t, err)
	keys := map[string]int{}
	count := map[string]int{}
	types := map[string]bool{}
	for _, r := range g.Resources {
		if !types[r.Type] && !r.Shared {
			types[r.Type] = true
			for _, resource := range s.Resources(r.Type, caseKey) {
				count[r.Type]++
				raw, err := json.Marshal(resource)
				require.NoError(t, err)
				keys[roleKeyIn(string(raw))]++
			}
		}
	}
	for _, r := range g.Resources {
		if !r.Shared {
			require.Equal(t, 1, keys[r.Key], r.Role)
		}
	}
	return count
}

// roleKeyIn finds the one role key that a resource carries itself: as
// identifier, or as tag where the type has no identifier.
func roleKeyIn(raw string) string {
	var r struct {
		Identifier json.RawMessage
		Meta       struct {
			Tag []struct{ System, Code string }
		}
	}
	_ = json.Unmarshal([]byte(raw), &r) // what is no resource has no key
	for _, t := range r.Meta.Tag {
		if t.System == graph.RoleKeySystem {
			return t.Code
		}
	}
	var many []struct{ System, Value string }
	if json.Unmarshal(r.Identifier, &many) != nil {
		many = make([]struct{ System, Value string }, 1)
		_ = json.Unmarshal(r.Identifier, &many[0])
	}
	for _, id := range many {
		if id.System == graph.RoleKeySystem {
			return id.Value
		}
	}
	return ""
}

// TestTheWholePath sends a case as it comes in life: report, histology by
// order, a late bleed, told twice, everything repeated.
func TestTheWholePath(t *testing.T) {
	t.Parallel()
	onBothEngines(t, wholePath)
}

func wholePath(t *testing.T, database string) {
	s := servertest.Start(t, servertest.Options{Database: database})
	r := s.MustAccept("/cases", example(t, bleedReport))
	s.Settle()
	first := standing(t, s, r.Case, 1)
	require.Equal(t, 1, first["DiagnosticReport"])
	require.Zero(t, first["AdverseEvent"])

	s.MustAccept("/histology", example(t, bleedHistology))
	s.MustAccept("/events", example(t, bleedEvents))
	s.MustAccept("/events", example(t, bleedEventsLater))
	s.Settle()
	last := standing(t, s, r.Case, 4)
	require.Equal(t, 2, last["DiagnosticReport"], "endoscopy and the summary of histology")
	require.Equal(t, 1, last["AdverseEvent"])
	require.Equal(t, first["Procedure"]+1, last["Procedure"], "the haemostasis that the bleed needed")

	journal := len(s.Receiver.Journal())
	for _, d := range [][2]string{{"/cases", bleedReport}, {"/histology", bleedHistology}, {"/events", bleedEventsLater}} {
		s.MustAccept(d[0], example(t, d[1]))
	}
	s.Settle()
	require.Len(t, s.Receiver.Journal(), journal, "what was told again wrote nothing")

	var list struct {
		Deliveries []struct {
			State    string
			Sequence int
			Attempts []struct{ Class string }
		}
	}
	s.MustGet("/deliveries?case="+r.Case, &list)
	require.Len(t, list.Deliveries, 4)
	require.Equal(t, "delivered", list.Deliveries[0].State)
	require.NotEmpty(t, list.Deliveries[0].Attempts)
}

func TestWithdrawnMeansEnteredInErrorEverywhere(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	folder := "12-withdrawn-wrong-patient/"
	r := s.MustAccept("/cases", example(t, folder+"01-report.json"))
	s.MustAccept("/histology", example(t, folder+"02-histology.json"))
	s.Settle()
	before := standing(t, s, r.Case, 2)
	s.MustAccept("/cases", example(t, folder+"03-report.json"))
	s.Settle()
	for _, kind := range []string{"DiagnosticReport", "Procedure", "Observation"} {
		found := s.Resources(kind, r.Case)
		require.GreaterOrEqual(t, len(found), before[kind])
		for _, resource := range found {
			require.Equal(t, "entered-in-error", resource["status"], kind)
		}
	}
	page := s.Do(http.MethodGet, "/cases/"+r.Case, nil, "Accept", "text/html")
	require.Equal(t, http.StatusOK, page.Status)
	require.Contains(t, strings.ToLower(string(page.Body)), "withdrawn")
	require.NotContains(t, string(page.Body), "ESD")
}

func TestAStoppedDeliveryIsShownResentAndSkipped(t *testing.T) {
	t.Parallel()
	// The patient is not known to the receiver: the delivery waits for him.
	s := servertest.Start(t, servertest.Options{UnknownPatients: true})
	r := s.MustAccept("/cases", example(t, gastricReport))
	s.Settle()
	var list struct {
		Deliveries []struct{ ID, State, Reason, Explanation string }
	}
	s.MustGet("/deliveries?state=parked&state=dead", &list)
	require.Len(t, list.Deliveries, 1)
	require.Equal(t, "waiting-for-patient", list.Deliveries[0].Reason)
	require.NotEmpty(t, list.Deliveries[0].Explanation)

	_, err := s.Receiver.Seed("Patient", "https://hospital.example/sid/patient", "HTEST-P-0101", nil)
	require.NoError(t, err)
	// The row also tries again by itself, every 20 ms here; 409 says that it is
	// being sent, or is delivered.
	require.Contains(t, []int{http.StatusAccepted, http.StatusConflict},
		s.Do(http.MethodPost, "/deliveries/"+list.Deliveries[0].ID+"/resend", nil).Status)
	require.Eventually(t, func() bool {
		s.MustGet("/deliveries?case="+r.Case, &list)
		return list.Deliveries[0].State == "delivered"
	}, 20*time.Second, 10*time.Millisecond)
	standing(t, s, r.Case, 1)
	// What is delivered is neither sent again nor skipped.
	problemOf(t, s.Do(http.MethodPost, "/deliveries/"+list.Deliveries[0].ID+"/resend", nil), http.StatusConflict)
	problemOf(t, s.Do(http.MethodPost, "/deliveries/"+list.Deliveries[0].ID+"/skip", nil), http.StatusConflict)

	other := s.MustAccept("/cases", example(t, duodenumReport))
	s.Settle()
	s.MustGet("/deliveries?case="+other.Case, &list)
	require.Eventually(t, func() bool { // between two tries
		return s.Do(http.MethodPost, "/deliveries/"+list.Deliveries[0].ID+"/skip", nil).Status == http.StatusAccepted
	}, 20*time.Second, time.Millisecond)
	s.MustGet("/deliveries?case="+other.Case, &list)
	require.Equal(t, "superseded", list.Deliveries[0].State)
}

func TestATargetThatStumblesGetsEverythingOnce(t *testing.T) {
	t.Parallel()
	var calls atomic.Int64
	s := servertest.Start(t, servertest.Options{Target: func(receiver http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			// Every third write is carried out, but its answer is lost.
			if r.Method == http.MethodPost && !strings.HasSuffix(r.URL.Path, "_search") && calls.Add(1)%3 == 1 {
				receiver.ServeHTTP(httptest.NewRecorder(), r)
				panic(http.ErrAbortHandler)
			}
			receiver.ServeHTTP(w, r)
		})
	}})
	r := s.MustAccept("/cases", example(t, gastricReport))
	s.MustAccept("/histology", example(t, gastricHistology))
	s.Settle()
	require.Equal(t, 2, standing(t, s, r.Case, 2)["DiagnosticReport"])
}
