package intake

import (
	"context"

	"enbloc/mapping"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// Mapped makes report and record of the documents that make up one state of a
// case, as they are stored, with a transformation other than that of an Intake.
// Its errors are faults, as those of [Intake.Graph].
func Mapped(pipeline mapping.Pipeline, rows []store.Document, sequence int) (report.Report, graph.Graph, error) {
	p, err := partsOf(rows)
	if err != nil {
		return report.Report{}, graph.Graph{}, err
	}
	merged, _ := p.merged()
	g, err := p.mapped(pipeline, sequence)
	if err != nil {
		return merged, graph.Graph{}, unmappable(fault.Invalid, err)
	}
	return merged, g, nil
}

// GraphBy is [Intake.Graph] with another transformation.
func (in *Intake) GraphBy(ctx context.Context, pipeline mapping.Pipeline, caseKey string, sequence int) (graph.Graph, error) {
	rows, err := in.Store.DocumentsAt(ctx, caseKey, sequence)
	if err != nil {
		return graph.Graph{}, err
	}
	_, g, err := Mapped(pipeline, rows, sequence)
	return g, err
}
