package intake

import (
	"sync"

	lru "github.com/hashicorp/golang-lru/v2"

	"enbloc/mapping/graph"
)

// mostFresh is how many states are kept at most, at about 300 kB each: while a
// target is away they pile up, and mapping again costs a few milliseconds.
const mostFresh = 512

// fresh keeps the states that were mapped on acceptance until they have been
// rendered for every target. It is safe for concurrent use.
type fresh struct {
	mu      sync.Mutex
	targets int
	states  *lru.Cache[stateID, kept]
}

type kept struct {
	graph graph.Graph
	left  int // how many targets still want it
}

func newFresh(targets int) *fresh {
	states, err := lru.New[stateID, kept](mostFresh)
	if err != nil {
		panic(err) // only a size below 1 is an error
	}
	return &fresh{targets: targets, states: states}
}

func (f *fresh) keep(id stateID, g graph.Graph) {
	if f.targets > 0 {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.states.Add(id, kept{g, f.targets})
	}
}

func (f *fresh) take(id stateID) (graph.Graph, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	k, ok := f.states.Get(id)
	switch {
	case !ok:
	case k.left == 1:
		f.states.Remove(id)
	default:
		f.states.Add(id, kept{k.graph, k.left - 1})
	}
	return k.graph, ok
}
