package server

import (
	"bytes"
	"encoding/json"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/mapping/whatif"
	"enbloc/server/fault"
	"enbloc/server/intake"
)

// whatIfQuestion asks what the rules would say if single values were others: of
// a report that is sent along, or of a case that is stored.
type whatIfQuestion struct {
	Report  json.RawMessage `json:"report"`
	Case    string          `json:"case"`
	Changes []string        `json:"changes"`
}

// whatIfAnswer holds the answers before and after, and both side by side.
type whatIfAnswer struct {
	Book     string           `json:"book"`
	Findings []report.Finding `json:"findings"` // about the changed report
	Before   []assess.Result  `json:"before"`
	After    []assess.Result  `json:"after"`
	Pairs    []whatif.Pair    `json:"pairs"`
}

func (s *Server) whatIf(c *gin.Context) {
	raw, err := s.body(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	answer, err := s.answerWhatIf(c, raw)
	if err != nil {
		s.fail(c, err)
		return
	}
	write(c, http.StatusOK, mediaJSON, answer)
}

func (s *Server) answerWhatIf(c *gin.Context, raw []byte) (whatIfAnswer, error) {
	var q whatIfQuestion
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&q); err != nil || decoder.More() || (len(q.Report) == 0) == (q.Case == "") {
		return whatIfAnswer{}, errWhatIf
	}
	if q.Case != "" {
		stored, err := s.storedReport(c, q.Case)
		if err != nil {
			return whatIfAnswer{}, err
		}
		q.Report = stored
	}
	before, _, err := sound(q.Report)
	if err != nil {
		return whatIfAnswer{}, below("/report", err)
	}
	changed, findings := whatif.Apply(q.Report, q.Changes)
	if report.Rejects(findings) {
		return whatIfAnswer{}, &intake.Rejection{Findings: findings}
	}
	after, findings, err := sound(changed)
	if err != nil {
		return whatIfAnswer{}, below("/report", err)
	}
	a := whatIfAnswer{Book: s.o.Pipeline.Book.Version, Findings: findings,
		Before: listed(s.o.Pipeline.Assess(before)), After: listed(s.o.Pipeline.Assess(after))}
	a.Pairs = whatif.Pairs(a.Before, a.After)
	return a, nil
}

// storedReport is a case as it stands, its parts joined, as one document.
func (s *Server) storedReport(c *gin.Context, key string) (json.RawMessage, error) {
	if !caseKeys.MatchString(key) {
		return nil, errNoCase
	}
	found, err := s.o.Store.Case(c.Request.Context(), key)
	switch {
	case err != nil:
		return nil, err
	case found.Status == string(report.Withdrawn):
		return nil, fault.New(fault.Conflict, "The report of this case was withdrawn, so nothing is derived from it.")
	}
	merged, err := s.o.Intake.Merged(c.Request.Context(), found.Key, found.Sequence)
	if err != nil {
		return nil, err
	}
	raw, err := json.Marshal(merged)
	return raw, fault.Wrap("encoding case", fault.Internal, err)
}

// below puts the pointers of a rejection under the place where the document
// stood in the request.
func below(place string, err error) error {
	rejected, ok := err.(*intake.Rejection) //nolint:errorlint // sound returns it bare
	if !ok {
		return err
	}
	moved := *rejected
	moved.Findings = slices.Clone(rejected.Findings)
	for i := range moved.Findings {
		moved.Findings[i].Pointer = place + moved.Findings[i].Pointer
	}
	return &moved
}
