package server_test

import (
	"encoding/json"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

// question wraps a report and changes as /what-if wants them.
func question(t *testing.T, document json.RawMessage, changes ...string) []byte {
	t.Helper()
	raw, err := json.Marshal(map[string]any{"report": document, "changes": changes})
	require.NoError(t, err)
	return raw
}

func TestDryRunsLeaveNothingBehind(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	report := example(t, gastricReport)
	for _, path := range []string{"/check", "/assess", "/map"} {
		require.Equal(t, http.StatusOK, s.Do(http.MethodPost, path, report).Status, path)
	}
	require.Equal(t, http.StatusOK, s.Do(http.MethodPost, "/what-if", question(t, report, "before/inr=1.1")).Status)
	for table, n := range s.Rows() {
		require.Zero(t, n, table)
	}
}

func TestCheckTellsAndRefusesNothing(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	var answer struct {
		Acceptable bool
		Findings   []struct{ ID, Severity, Pointer string }
	}
	ask := func(body []byte) {
		a := s.Do(http.MethodPost, "/check", body)
		require.Equal(t, http.StatusOK, a.Status, string(a.Body))
		require.NoError(t, json.Unmarshal(a.Body, &answer))
	}
	for _, name := range []string{gastricReport, gastricHistology, bleedEvents} {
		ask(example(t, name))
		require.True(t, answer.Acceptable, name)
		require.NotNil(t, answer.Findings)
	}
	ask(example(t, gastricReport, "lesions/0/examination/size_long_mm=22 mm"))
	require.False(t, answer.Acceptable)
	require.Equal(t, "/lesions/0/examination/size_long_mm", answer.Findings[0].Pointer)
	problemOf(t, s.Do(http.MethodPost, "/check", []byte(`{"schema":`)), http.StatusBadRequest)
}

func TestAssessAndMapWantASoundReport(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for _, path := range []string{"/assess", "/map"} {
		p := problemOf(t, s.Do(http.MethodPost, path, example(t, gastricReport, "session/kind=walk")), http.StatusUnprocessableEntity)
		require.Equal(t, "/session/kind", p.Findings[0].Pointer)
	}
	a := s.Do(http.MethodPost, "/map", example(t, gastricReport))
	require.Equal(t, "application/fhir+json", a.Header.Get("Content-Type"))
	var bundle struct {
		ResourceType, Type string
		Entry              []any
	}
	require.NoError(t, json.Unmarshal(a.Body, &bundle))
	require.Equal(t, "transaction", bundle.Type)
	require.NotEmpty(t, bundle.Entry)
}

// whatIf is the part of an answer that the tests look at.
type whatIf struct {
	Before, After []any
	Pairs         []struct {
		Rule          string
		Lesion        int
		Changed       bool
		Before, After *struct{ Answer string }
	}
}

func (w whatIf) answers(rule string) (before, after string) {
	for _, p := range w.Pairs {
		if p.Rule == rule && p.Before != nil && p.After != nil {
			return p.Before.Answer, p.After.Answer
		}
	}
	return "", ""
}

// TestWhatIfShowsBothAnswers deepens the invasion of a case that is eCura B at
// 320 µm. The limit of 500 µm is that of JGES/JGCA, 2nd edition: Ono, Dig Endosc
// 2021;33:4-20, doi 10.1111/den.13883.
func TestWhatIfShowsBothAnswers(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	r := s.MustAccept("/cases", example(t, bleedReport))
	s.MustAccept("/histology", example(t, bleedHistology))
	rows := s.Rows()
	ask := func(changes ...string) whatIf {
		body, err := json.Marshal(map[string]any{"case": r.Case, "changes": changes})
		require.NoError(t, err)
		a := s.Do(http.MethodPost, "/what-if", body)
		require.Equal(t, http.StatusOK, a.Status, string(a.Body))
		var answer whatIf
		require.NoError(t, json.Unmarshal(a.Body, &answer))
		return answer
	}
	before, after := ask("lesion/1/histology/depth_um=499").answers("R2.gastric.curability.ecura")
	require.Equal(t, []string{"B", "B"}, []string{before, after})
	before, after = ask("lesion/1/histology/depth_um=650").answers("R2.gastric.curability.ecura")
	require.Equal(t, []string{"B", "C-2"}, []string{before, after})
	before, after = ask("lesion/1/histology/depth_um=", "lesion/1/histology/pt=pT1b").answers("R2.gastric.curability.ecura")
	require.Equal(t, []string{"B", "cannot-be-assessed"}, []string{before, after})
	require.Equal(t, rows, s.Rows())
}

func TestWhatIfSaysWhichChangeCannotBeMade(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	report := example(t, gastricReport)
	for change, pointer := range map[string]string{
		"lesion/7/histology/depth_um=650":           "/changes/0",
		"depth_um":                                  "/changes/0",
		"lesion/1/examination/size_long_mm=22 mm":   "/report/lesions/0/examination/size_long_mm",
		"lesion/1/examination/size_inches=1":        "/report/lesions/0/examination/size_inches",
		"lesion/1/examination/organ=":               "/report/lesions/0/examination/organ",
		"lesion/1/resection/pieces=one or more":     "/report/lesions/0/resection/pieces",
		"lesion/1/examination/paris/0/deeper=0-IIa": "/changes/0",
	} {
		p := problemOf(t, s.Do(http.MethodPost, "/what-if", question(t, report, change)), http.StatusUnprocessableEntity)
		var at []string
		for _, f := range p.Findings {
			at = append(at, f.Pointer)
		}
		require.Contains(t, at, pointer, change)
	}
	for _, body := range []string{`{}`, `[]`, `{"report":{},"case":"x","changes":["a=1"]}`, `{"changes":["a=1"]}`, `{"report":{},"changes":"a=1"}`, `{"report":{},"more":1}`, `{"report":{}`} {
		problemOf(t, s.Do(http.MethodPost, "/what-if", []byte(body)), http.StatusBadRequest)
	}
	problemOf(t, s.Do(http.MethodPost, "/what-if", []byte(`{"case":"`+noCase+`","changes":["a=1"]}`)), http.StatusNotFound)
}

func TestTheBookAndTheSchemasAreShown(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	var book struct {
		Version string
		Rules   []struct{ Rule, Guideline, Source string }
	}
	s.MustGet("/rules", &book)
	require.NotEmpty(t, book.Version)
	require.NotEmpty(t, book.Rules)
	var list struct{ Schemas []string }
	s.MustGet("/schemas", &list)
	require.Contains(t, list.Schemas, "/schemas/report/1/report.schema.json")
	for _, path := range list.Schemas {
		var schema struct {
			ID string `json:"$id"`
		}
		s.MustGet(path, &schema)
		require.Equal(t, "https://enbloc.example"+path, schema.ID)
	}
}
