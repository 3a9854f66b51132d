package server_test

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi/datamodel"
	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

var schemaReference = regexp.MustCompile(`\{"\$ref": ?"/schemas/[^"]+"\}`)

// judge is a library that others wrote; it holds answers against the
// description that the service itself gives.
func judge(t *testing.T, s *servertest.Service) func(method, path string, body []byte, a servertest.Answer) []string {
	t.Helper()
	raw := s.Do(http.MethodGet, "/openapi.json", nil).Body
	// Documents are judged by their own schemas, elsewhere.
	raw = schemaReference.ReplaceAll(raw, []byte(`{"type":"object"}`))
	config := datamodel.NewDocumentConfiguration()
	config.Logger = slog.New(slog.DiscardHandler)
	doc, err := libopenapi.NewDocumentWithConfiguration(raw, config)
	require.NoError(t, err)
	v, errs := validator.NewValidator(doc)
	require.Empty(t, errs)
	return func(method, path string, body []byte, a servertest.Answer) []string {
		req, err := http.NewRequest(method, s.URL+path, bytes.NewReader(body))
		require.NoError(t, err)
		req.Header.Set("Content-Type", "application/json")
		res := &http.Response{StatusCode: a.Status, Header: a.Header, Body: io.NopCloser(bytes.NewReader(a.Body)), Request: req}
		ok, problems := v.ValidateHttpResponse(req, res)
		var texts []string
		for _, p := range problems {
			text := p.Message + " " + p.Reason
			for _, e := range p.SchemaValidationErrors {
				text += " " + e.Reason + " at " + e.FieldPath
			}
			texts = append(texts, text)
		}
		require.Equal(t, ok, len(texts) == 0)
		return texts
	}
}

// TestAnswersAreAsDescribed asks for one of each and holds every answer, good
// and bad, against openapi.json.
func TestAnswersAreAsDescribed(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	wrong := judge(t, s)
	r := s.MustAccept("/cases", example(t, bleedReport))
	s.MustAccept("/histology", example(t, bleedHistology))
	s.MustAccept("/histology", example(t, gastricHistology)) // parked
	void := s.MustAccept("/cases", example(t, "12-withdrawn-wrong-patient/01-report.json", "status=withdrawn", "status_reason=wrong patient"))
	s.Settle()
	self := "/cases/" + r.Case
	bad := example(t, gastricReport, "lesions/0/examination/size_long_mm=22 mm")
	for _, c := range []struct {
		method, path string
		body         []byte
		status       int
	}{
		{"GET", "/cases", nil, 200},
		{"GET", "/cases?limit=0", nil, 400},
		{"GET", self, nil, 200},
		{"GET", "/cases/" + void.Case, nil, 200},
		{"GET", self + "/assessment", nil, 200},
		{"GET", "/cases/" + void.Case + "/assessment", nil, 200},
		{"GET", self + "/fhir", nil, 200},
		{"GET", "/cases/" + noCase, nil, 404},
		{"GET", "/deliveries", nil, 200},
		{"GET", "/parked", nil, 200},
		{"GET", "/rules", nil, 200},
		{"GET", "/schemas", nil, 200},
		{"GET", "/fhir/CodeSystem", nil, 200},
		{"GET", "/fhir/ValueSet/enbloc-paris", nil, 200},
		{"GET", "/fhir/ValueSet/none", nil, 404},
		{"GET", "/fhir/ValueSet?name=x", nil, 400},
		{"GET", "/health/live", nil, 200},
		{"GET", "/health/ready", nil, 200},
		{"POST", "/cases", example(t, bleedReport), 202},
		{"POST", "/cases", bad, 422},
		{"POST", "/cases", []byte("{"), 400},
		{"POST", "/cases", example(t, bleedReport, "status=corrected", "status_reason=x"), 409},
		{"POST", "/histology", example(t, gastricHistology), 202},
		{"POST", "/events", example(t, bleedEvents), 202},
		{"POST", "/check", bad, 200},
		{"POST", "/assess", example(t, bleedReport), 200},
		{"POST", "/map", example(t, bleedReport), 200},
		{"POST", "/what-if", question(t, example(t, bleedReport), "before/inr=1.3"), 200},
	} {
		a := s.Do(c.method, c.path, c.body)
		require.Equal(t, c.status, a.Status, "%s %s: %s", c.method, c.path, a.Body)
		require.Empty(t, wrong(c.method, c.path, c.body, a), "%s %s: %s", c.method, c.path, a.Body)
	}
	// The judge must bite.
	a := s.Do(http.MethodGet, "/parked", nil)
	a.Body = bytes.Replace(a.Body, []byte(`"no-case"`), []byte(`"whatever"`), 1)
	require.NotEmpty(t, wrong("GET", "/parked", nil, a))
}
