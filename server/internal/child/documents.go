package child

import (
	"encoding/json"

	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// Document is one that is sent, and where to.
type Document struct {
	Path string
	Body []byte
}

// NewDocument writes a document for a path.
func NewDocument(path string, content any) (Document, error) {
	body, err := json.Marshal(content)
	return Document{path, body}, err
}

// HasParts reports whether parts may come to a case: not to one that is withdrawn
// or a draft.
func HasParts(c sample.Case) bool {
	return c.Report.Status != report.Withdrawn && c.Report.Status != report.Draft
}

// Parts are the documents that come to a case later, matched by its report.
func Parts(c sample.Case) (all []Document, err error) {
	match := report.Match{ReportID: &c.Report.ReportID}
	add := func(path string, content any) {
		if err == nil {
			var d Document
			d, err = NewDocument(path, content)
			all = append(all, d)
		}
	}
	for _, p := range c.Histology {
		p.Match = match
		add("/histology", p)
	}
	for _, p := range c.Events {
		p.Match = match
		add("/events", p)
	}
	return all, err
}
