// Package mapping runs the whole transformation of a case: documents in,
// checked, assessed, mapped to a graph of FHIR resources. It has no side
// effects; time, keys and settings come in as arguments, so the same documents
// always give the same bytes.
package mapping

import (
	"enbloc/mapping/assess"
	"enbloc/mapping/check"
	"enbloc/mapping/dress"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/schemas"
)

// Pipeline is the transformation with a site's settings. The zero Pipeline is
// not usable: see [New].
type Pipeline struct {
	Book assess.Book  // which rules are asked
	FHIR fhir.Options // keys and dialect; Sequence is set by Map
	// Dress is what the target expects beyond base R4; the zero value is base.
	Dress dress.Dressing
}

// New returns the Pipeline of the default rule book under the given secret
// key, which makes every identity that the site sends.
func New(key []byte) Pipeline {
	return Pipeline{Book: assess.DefaultBook(), FHIR: fhir.Options{Key: key}}
}

// Check reads a report and checks it on both levels: the document against its
// schema, then the fields against each other. The report is usable only when
// no finding is an error.
func Check(raw []byte) (report.Report, []report.Finding) {
	rep, findings := schemas.DecodeReport(raw)
	if report.Rejects(findings) {
		return rep, findings
	}
	return rep, append(findings, check.Check(rep)...)
}

// Assess asks every rule of the book. A withdrawn report is void: nothing
// follows from it.
func (p Pipeline) Assess(rep report.Report) []assess.Result {
	if rep.Status == report.Withdrawn {
		return nil
	}
	return p.Book.Assess(rep)
}

// maxEarlier bounds the work on a report with many revisions: of its earlier
// ones the last so many are compared.
const maxEarlier = 20

// Map assesses the case and maps report and answers to a graph. Sequence
// numbers the state of the case, from 1. Earlier are the earlier revisions of
// the report, oldest first and each merged with the parts that rep has: they
// tell what the present revision changed.
func (p Pipeline) Map(rep report.Report, sequence int, earlier ...report.Report) (graph.Graph, error) {
	options := p.FHIR
	if rep.Status == report.Draft || rep.Status == report.Withdrawn {
		earlier = nil // nothing in it is amended
	}
	for _, e := range earlier[max(0, len(earlier)-maxEarlier):] {
		options.Earlier = append(options.Earlier, fhir.Earlier{Report: e, Results: p.Book.Assess(e)})
	}
	options.Sequence = sequence
	options.BookVersion = p.Book.Version
	// The answers of a void report are mapped too, in their void form: what was
	// delivered of them earlier has to be taken back.
	g, err := fhir.Map(rep, p.Book.Assess(rep), options)
	if err != nil {
		return graph.Graph{}, err
	}
	return p.Dress.Apply(g, options.Site)
}
