package delivery

import (
	"context"

	"enbloc/mapping/graph"
)

// DeliverInDoubt delivers as the worker does after an uncertain attempt.
func DeliverInDoubt(e *Engine, ctx context.Context, g graph.Graph) (Result, error) {
	return e.deliver(ctx, g, true)
}
