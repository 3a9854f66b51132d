package server

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"enbloc/mapping"
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/schemas"
	"enbloc/server/fault"
	"enbloc/server/intake"
)

// Dry runs answer what would happen; they read and write nothing.

// checkAnswer is what the checks say about a document of any kind.
type checkAnswer struct {
	// Acceptable is false when a finding is an error: the document would be
	// refused.
	Acceptable bool             `json:"acceptable"`
	Findings   []report.Finding `json:"findings"`
}

func (s *Server) check(c *gin.Context) {
	raw, err := s.body(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	findings := checkAny(raw)
	if schemas.Malformed(findings) {
		s.fail(c, &intake.Rejection{Findings: findings, Malformed: true})
		return
	}
	write(c, http.StatusOK, mediaJSON, checkAnswer{!report.Rejects(findings), listed(findings)})
}

// checkAny checks a document as the kind that it says it is.
func checkAny(raw []byte) []report.Finding {
	kind, findings := schemas.Kind(raw)
	switch kind {
	case report.SchemaHistology:
		_, findings = schemas.DecodeHistology(raw)
	case report.SchemaEvents:
		_, findings = schemas.DecodeEvents(raw)
	case report.SchemaReport:
		_, findings = mapping.Check(raw)
	}
	return findings
}

// listed makes an empty list of none, so that it is [] and not null.
func listed[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// sound reads a report that has no error.
func sound(raw []byte) (report.Report, []report.Finding, error) {
	rep, findings := mapping.Check(raw)
	if report.Rejects(findings) {
		return rep, nil, &intake.Rejection{Findings: findings, Malformed: schemas.Malformed(findings)}
	}
	return rep, listed(findings), nil
}

// assessAnswer is what the rules say about a report.
type assessAnswer struct {
	// Book is the version of the rule book.
	Book     string           `json:"book"`
	Findings []report.Finding `json:"findings"`
	Results  []assess.Result  `json:"results"`
}

func (s *Server) assess(c *gin.Context) {
	rep, findings, ok := s.dryReport(c)
	if !ok {
		return
	}
	write(c, http.StatusOK, mediaJSON, assessAnswer{s.o.Pipeline.Book.Version, findings, listed(s.o.Pipeline.Assess(rep))})
}

func (s *Server) dryMap(c *gin.Context) {
	rep, _, ok := s.dryReport(c)
	if !ok {
		return
	}
	g, err := s.o.Pipeline.Map(rep, 1)
	if err != nil {
		s.fail(c, intake.Unmappable(err))
		return
	}
	s.bundle(c, g)
}

// dryReport reads the body as a sound report, or answers with what is wrong.
func (s *Server) dryReport(c *gin.Context) (report.Report, []report.Finding, bool) {
	raw, err := s.body(c)
	if err != nil {
		s.fail(c, err)
		return report.Report{}, nil, false
	}
	rep, findings, err := sound(raw)
	if err != nil {
		s.fail(c, err)
		return report.Report{}, nil, false
	}
	return rep, findings, true
}

// getAssessment shows what the rules say about a case as it stands. A withdrawn
// case is void, and nothing is said about it.
func (s *Server) getAssessment(c *gin.Context) {
	found, err := s.found(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	answer := struct {
		Case      string          `json:"case"`
		Sequence  int             `json:"sequence"`
		Withdrawn bool            `json:"withdrawn"`
		Book      string          `json:"book"`
		Results   []assess.Result `json:"results"`
	}{found.Key, found.Sequence, found.Status == string(report.Withdrawn), s.o.Pipeline.Book.Version, []assess.Result{}}
	if !answer.Withdrawn {
		merged, err := s.o.Intake.Merged(c.Request.Context(), found.Key, found.Sequence)
		if err != nil {
			s.fail(c, err)
			return
		}
		answer.Results = listed(s.o.Pipeline.Assess(merged))
	}
	write(c, http.StatusOK, mediaJSON, answer)
}

var errWhatIf = fault.New(fault.Malformed, `The body is not {"report": {…}, "changes": ["path=value", …]} or {"case": "…", "changes": […]}, and nothing else is read here.`)
