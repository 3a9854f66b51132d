package intake

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
)

func TestAStateStaysUntilEveryTargetHasIt(t *testing.T) {
	t.Parallel()
	one, g := stateID{"c", 1}, graph.Graph{CaseKey: "c", Sequence: 1}
	f := newFresh(2)
	f.keep(one, g)
	for range 2 {
		got, ok := f.take(one)
		require.True(t, ok)
		require.Equal(t, g, got)
	}
	_, ok := f.take(one)
	require.False(t, ok, "both have it")
	require.Zero(t, f.states.Len())

	none := newFresh(0)
	none.keep(one, g)
	require.Zero(t, none.states.Len(), "nobody will ask")

	for n := range 2 * mostFresh {
		f.keep(stateID{"c", n + 1}, g)
	}
	require.Equal(t, mostFresh, f.states.Len(), "a target that is away does not fill the memory")
}
