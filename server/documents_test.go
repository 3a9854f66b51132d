package server_test

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/whatif"
	"enbloc/server/intake"
	"enbloc/server/servertest"
	"enbloc/server/store/storetest"
)

// example reads a document of the example cases and makes changes to it, each
// written as path=value.
func example(t *testing.T, name string, changes ...string) []byte {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "testdata", "cases", name))
	require.NoError(t, err)
	if len(changes) == 0 {
		return raw
	}
	out, findings := whatif.Apply(raw, changes)
	require.Empty(t, findings)
	return out
}

// The documents that most tests send.
const (
	gastricReport    = "01-gastric-esd-ecura-a/01-report.json"
	gastricHistology = "01-gastric-esd-ecura-a/02-histology.json"
	bleedReport      = "02-gastric-esd-ecura-b-delayed-bleeding/01-report.json"
	bleedHistology   = "02-gastric-esd-ecura-b-delayed-bleeding/02-histology.json"
	bleedEvents      = "02-gastric-esd-ecura-b-delayed-bleeding/03-events.json"
	bleedEventsLater = "02-gastric-esd-ecura-b-delayed-bleeding/04-events.json"
	duodenumReport   = "07-duodenum-emr-and-cold-snare/01-report.json"
	duodenumResults  = "07-duodenum-emr-and-cold-snare/02-histology.json"
)

// onBothEngines runs a test on a SQLite file, and on the Postgres of
// ENBLOC_TEST_POSTGRES where there is one.
func onBothEngines(t *testing.T, test func(t *testing.T, database string)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) {
		t.Parallel()
		test(t, "")
	})
	t.Run("postgres", func(t *testing.T) {
		t.Parallel()
		test(t, storetest.Postgres(t))
	})
}

// problemOf reads a problem document and checks its form (RFC 9457).
func problemOf(t *testing.T, a servertest.Answer, status int) (p struct {
	Type, Title, Detail string
	Status              int
	RequestID           string `json:"request_id"`
	Findings            []struct{ ID, Severity, Pointer, Text, Mend, Source string }
}) {
	t.Helper()
	require.Equal(t, status, a.Status, string(a.Body))
	require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"))
	require.NoError(t, json.Unmarshal(a.Body, &p))
	require.Equal(t, status, p.Status)
	require.Contains(t, p.Type, "https://enbloc.example/problems/")
	require.NotEmpty(t, p.Title)
	require.NotEmpty(t, p.Detail)
	require.Equal(t, a.Header.Get("X-Request-Id"), p.RequestID)
	return p
}

func TestADocumentIsAcceptedOnce(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	first := s.Post("/cases", example(t, gastricReport))
	require.Equal(t, http.StatusAccepted, first.Status, string(first.Body))
	var r intake.Receipt
	require.NoError(t, json.Unmarshal(first.Body, &r))
	require.Equal(t, "/cases/"+r.Case, first.Header.Get("Location"))
	require.Equal(t, intake.Accepted, r.Outcome)
	require.Equal(t, 1, r.Sequence)
	s.Settle()
	rows := s.Rows()

	// The same content again, also when its members stand in another order.
	again := s.Post("/cases", example(t, gastricReport))
	require.Equal(t, http.StatusAccepted, again.Status)
	require.Equal(t, string(first.Body), string(again.Body))
	reordered := s.Post("/cases", example(t, gastricReport, "revision=1"))
	require.Equal(t, string(first.Body), string(reordered.Body))
	require.Equal(t, rows, s.Rows())
}

func TestRevisionsFollowEachOther(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	first := s.MustAccept("/cases", example(t, gastricReport))
	second := s.MustAccept("/cases", example(t, gastricReport, "revision=2", "status=amended", "status_reason=typing mistake"))
	require.Equal(t, first.Case, second.Case)
	require.Equal(t, 2, second.Sequence)
	rows := s.Rows()

	for name, changes := range map[string][]string{
		"older revision":                  {"revision=1"},
		"same revision, other content":    {"revision=2", "status=amended", "status_reason=another reason"},
		"a signed report is draft again":  {"revision=3", "status=draft"},
		"the case moves to other patient": {"revision=3", "status=corrected", "patient/identifier/value=HTEST-P-9999"},
	} {
		problemOf(t, s.Post("/cases", example(t, gastricReport, changes...)), http.StatusConflict)
		require.Equal(t, rows["documents"], s.Rows()["documents"], name)
	}
}

// A new revision changes the status of what it changed, and of nothing else; one
// that comes after a later one is refused and leaves nothing.
func TestARevisionAmendsWhatItChanged(t *testing.T) {
	t.Parallel()
	l := newLife(t)
	signed := l.report(1, "signed", "", "2026-03-10T17:20:00+01:00", nil)
	corrected := l.report(3, "corrected", "Wall put right.", "2026-03-12T08:00:00+01:00", otherWall)
	statuses := func(s *servertest.Service, r intake.Receipt) map[string]int {
		out := map[string]int{}
		for _, r := range graphAt(t, s, r.Case, r.Sequence).Resources {
			var body struct{ Status string }
			require.NoError(t, json.Unmarshal(r.Body, &body))
			if r.Type == "Observation" {
				out[body.Status]++
			}
		}
		return out
	}

	s := servertest.Start(t, servertest.Options{})
	s.MustAccept("/cases", signed)
	known := s.MustAccept("/cases", corrected)
	require.Positive(t, statuses(s, known)["corrected"])
	require.Less(t, statuses(s, known)["corrected"], statuses(s, known)["final"]/4)
	s.Settle()
	for _, o := range s.Resources("Observation", known.Case) {
		require.Contains(t, []any{"final", "corrected"}, o["status"])
	}

	s = servertest.Start(t, servertest.Options{})
	alone := s.MustAccept("/cases", corrected)
	require.Len(t, statuses(s, alone), 1, "what was changed is not known: all is corrected")
	rows := s.Rows()
	for name, body := range map[string][]byte{
		"what came before": signed,
		"a withdrawal":     l.report(2, "withdrawn", "Late.", "2026-03-10T17:21:00+01:00", nil),
	} {
		problemOf(t, s.Post("/cases", body), http.StatusConflict)
		for _, table := range []string{"documents", "states", "deliveries"} { // the queue has jobs of its own
			require.Equal(t, rows[table], s.Rows()[table], name)
		}
	}
}

func TestAWithdrawnCaseIsVoidForGood(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	s.MustAccept("/cases", example(t, "12-withdrawn-wrong-patient/01-report.json"))
	s.MustAccept("/histology", example(t, "12-withdrawn-wrong-patient/02-histology.json"))
	r := s.MustAccept("/cases", example(t, "12-withdrawn-wrong-patient/03-report.json"))
	require.Equal(t, 3, r.Sequence)
	rows := s.Rows()

	amended := example(t, "12-withdrawn-wrong-patient/03-report.json", "revision=3", "status=amended", "status_reason=not withdrawn after all")
	p := problemOf(t, s.Post("/cases", amended), http.StatusConflict)
	require.Contains(t, p.Detail, "withdrawn")
	later := example(t, "12-withdrawn-wrong-patient/02-histology.json", "revision=2")
	problemOf(t, s.Post("/histology", later), http.StatusConflict)
	require.Equal(t, rows["documents"], s.Rows()["documents"])
	require.Equal(t, rows["states"], s.Rows()["states"])

	var detail struct {
		Status string
		Report json.RawMessage
	}
	s.MustGet("/cases/"+r.Case, &detail)
	require.Equal(t, "withdrawn", detail.Status)
	require.Equal(t, "null", string(detail.Report), "what was entered for the wrong patient is shown to nobody")
	var assessment struct {
		Withdrawn bool
		Results   []any
	}
	s.MustGet("/cases/"+r.Case+"/assessment", &assessment)
	require.True(t, assessment.Withdrawn)
	require.Empty(t, assessment.Results)
}

func TestAPartJoinsTheOneCaseThatItNames(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	// By accession, by order, by report id: as the examples are written.
	gastric := s.MustAccept("/cases", example(t, gastricReport))
	bleed := s.MustAccept("/cases", example(t, bleedReport))
	require.Equal(t, gastric.Case, s.MustAccept("/histology", example(t, gastricHistology)).Case)
	require.Equal(t, bleed.Case, s.MustAccept("/histology", example(t, bleedHistology)).Case)
	late := s.MustAccept("/events", example(t, bleedEvents))
	require.Equal(t, bleed.Case, late.Case)
	require.Equal(t, 3, late.Sequence)
	require.Equal(t, 4, s.MustAccept("/events", example(t, bleedEventsLater)).Sequence)

	// What was told once is known, and what is older than that is refused.
	repeated := s.Post("/events", example(t, bleedEventsLater))
	require.Equal(t, http.StatusAccepted, repeated.Status)
	problemOf(t, s.Post("/events", example(t, bleedEvents)), http.StatusConflict)
	require.Equal(t, 6, s.Rows()["documents"])
}

func TestAPartWaitsForItsCase(t *testing.T) {
	t.Parallel()
	onBothEngines(t, partWaits)
}

func partWaits(t *testing.T, database string) {
	s := servertest.Start(t, servertest.Options{Database: database})
	parked := s.Post("/histology", example(t, gastricHistology))
	require.Equal(t, http.StatusAccepted, parked.Status, string(parked.Body))
	require.Equal(t, "/parked", parked.Header.Get("Location"))
	var r intake.Receipt
	require.NoError(t, json.Unmarshal(parked.Body, &r))
	require.Equal(t, intake.Parked, r.Outcome)
	require.Empty(t, r.Case)
	require.Equal(t, string(parked.Body), string(s.Post("/histology", example(t, gastricHistology)).Body))

	var list struct {
		Parked []struct {
			Kind, Reason string
			MatchedBy    []string `json:"matched_by"`
		}
	}
	s.MustGet("/parked", &list)
	require.Len(t, list.Parked, 1)
	require.Equal(t, "no-case", list.Parked[0].Reason)
	require.Equal(t, []string{"accession"}, list.Parked[0].MatchedBy)

	// Another report does not take it in, its own does, in one state.
	s.MustAccept("/cases", example(t, bleedReport))
	s.MustGet("/parked", &list)
	require.Len(t, list.Parked, 1)
	case1 := s.MustAccept("/cases", example(t, gastricReport))
	require.Equal(t, 1, case1.Sequence)
	s.MustGet("/parked", &list)
	require.Empty(t, list.Parked)
	var detail struct {
		Summary   struct{ Histology int }
		Documents []struct {
			Kind   string
			Counts bool
		}
	}
	s.MustGet("/cases/"+case1.Case, &detail)
	require.Equal(t, 1, detail.Summary.Histology)
	require.Len(t, detail.Documents, 2)
	// Told again, the part now says where it went.
	require.Equal(t, case1.Case, s.MustAccept("/histology", example(t, gastricHistology)).Case)
}

func TestAnOutdatedRevisionNeverLeavesTheCarPark(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	// The laboratory first named the accession of another patient's case.
	wrong := example(t, gastricHistology, "match/accession/value=HTEST-26-02203")
	s.MustAccept("/histology", wrong)
	s.MustAccept("/histology", example(t, gastricHistology, "revision=2"))
	// The other patient's report, which has that accession, must not get it.
	other := s.MustAccept("/cases", example(t, "03-gastric-esd-c1-lateral-margin/01-report.json"))
	var detail struct{ Summary struct{ Histology int } }
	s.MustGet("/cases/"+other.Case, &detail)
	require.Zero(t, detail.Summary.Histology)
	own := s.MustAccept("/cases", example(t, gastricReport))
	s.MustGet("/cases/"+own.Case, &detail)
	require.Equal(t, 1, detail.Summary.Histology)
}

func TestNothingIsGuessed(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	s.MustAccept("/cases", example(t, gastricReport))
	s.MustAccept("/cases", example(t, bleedReport))
	rows := s.Rows()
	accession := `match={"accession":{"system":"https://hospital.example/sid/lab-accession","value":"HTEST-26-01001"},`

	several := example(t, gastricHistology, accession+`"report_id":{"system":"https://hospital.example/sid/endoscopy-report","value":"HTEST-R-0102"}}`)
	require.Contains(t, problemOf(t, s.Post("/histology", several), http.StatusConflict).Detail, "several")
	contradicts := example(t, gastricHistology, accession+`"report_id":{"system":"https://hospital.example/sid/endoscopy-report","value":"HTEST-R-7777"}}`)
	require.Contains(t, problemOf(t, s.Post("/histology", contradicts), http.StatusConflict).Detail, "contradicts")
	noLesion := example(t, gastricHistology, "results/0/lesion=9")
	p := problemOf(t, s.Post("/histology", noLesion), http.StatusUnprocessableEntity)
	require.Equal(t, "/results/0", p.Findings[0].Pointer)
	require.Equal(t, rows, withoutJobs(rows, s.Rows()))

	// A part keeps to its case.
	s.MustAccept("/histology", example(t, gastricHistology))
	moves := example(t, gastricHistology, "revision=2", `match={"report_id":{"system":"https://hospital.example/sid/endoscopy-report","value":"HTEST-R-0102"}}`)
	problemOf(t, s.Post("/histology", moves), http.StatusConflict)
	// A report cannot lose what its histology was found by, nor the lesion.
	orphans := example(t, gastricReport, "revision=2", "status=corrected", "status_reason=other pot",
		"lesions/0/specimen/containers/0/accession/value=HTEST-26-99999")
	problemOf(t, s.Post("/cases", orphans), http.StatusConflict)
	loses := example(t, gastricReport, "revision=2", "status=corrected", "status_reason=renumbered", "lesions/0/number=2")
	require.GreaterOrEqual(t, s.Post("/cases", loses).Status, http.StatusBadRequest)
}

// withoutJobs puts the number of queued jobs, which finished ones leave by
// themselves, on the expected side.
func withoutJobs(want, got map[string]int) map[string]int {
	want["river_job"] = got["river_job"]
	return got
}

func TestOneMessageForSeveralLesions(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	r := s.MustAccept("/cases", example(t, duodenumReport))
	s.MustAccept("/histology", example(t, duodenumResults))
	var detail struct {
		Summary struct{ Lesions, Resected, Histology int }
	}
	s.MustGet("/cases/"+r.Case, &detail)
	require.Equal(t, 2, detail.Summary.Lesions)
	require.Equal(t, 2, detail.Summary.Histology)
}

func TestAWithdrawnPartSaysNothing(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	folder := "08-colon-emr-piecemeal/"
	r := s.MustAccept("/cases", example(t, folder+"01-report.json"))
	counted := func() int {
		var detail struct{ Summary struct{ Histology int } }
		s.MustGet("/cases/"+r.Case, &detail)
		return detail.Summary.Histology
	}
	for i, name := range []string{"02-histology.json", "03-histology.json", "04-histology.json"} {
		s.MustAccept("/histology", example(t, folder+name))
		require.Equal(t, []int{1, 0, 1}[i], counted(), name)
	}
}
