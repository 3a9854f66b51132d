package intake

import (
	"context"
	"slices"

	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/server/fault"
)

// stateID names one state of one case.
type stateID struct {
	caseKey  string
	sequence int
}

// Graph is one state of a case, mapped; it is what delivery renders with. A
// state that was accepted a moment ago is not mapped a second time. Its errors
// are faults: NotFound for a state that never was, Invalid for one that cannot
// be mapped (any more), which no repetition will mend.
func (in *Intake) Graph(ctx context.Context, caseKey string, sequence int) (graph.Graph, error) {
	if g, ok := in.fresh.take(stateID{caseKey, sequence}); ok {
		g.Resources = slices.Clone(g.Resources)
		return g, nil
	}
	p, err := in.partsAt(ctx, caseKey, sequence)
	if err != nil {
		return graph.Graph{}, err
	}
	g, err := p.mapped(in.Pipeline, sequence)
	if err != nil {
		return graph.Graph{}, unmappable(fault.Invalid, err)
	}
	return g, nil
}

// Merged is one state of a case as a whole report.
func (in *Intake) Merged(ctx context.Context, caseKey string, sequence int) (report.Report, error) {
	p, err := in.partsAt(ctx, caseKey, sequence)
	merged, _ := p.merged()
	return merged, err
}

func (in *Intake) partsAt(ctx context.Context, caseKey string, sequence int) (parts, error) {
	rows, err := in.Store.DocumentsAt(ctx, caseKey, sequence)
	if err != nil {
		return parts{}, err
	}
	return partsOf(rows)
}
