package delivery

import (
	"context"

	"enbloc/mapping/graph"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// overtaken turns a conflict into "a later state stands" when the target shows
// that we ourselves wrote a later state than the one at hand. That happens after
// a restore: the store is older than what it delivered before it was lost. To
// stop the case would be wrong then, and nothing is overwritten either way.
func (s *Service) overtaken(ctx context.Context, e *Engine, g graph.Graph, f *Failure) *Failure {
	if f == nil || f.Class != target.Conflict || (f.Reason != OtherContent && f.Reason != ChangedByOthers) || !s.laterStands(ctx, e, g) {
		return f
	}
	s.log.WarnContext(ctx, "a later state stands on the target than the store knows", "case", g.CaseKey, "sequence", g.Sequence, "target", e.target.Name)
	return &Failure{Class: target.Permanent, Reason: LaterDelivered, Status: f.Status, RequestID: f.RequestID}
}

// laterStands looks for a Provenance of the case under a key that no state up to
// this one has. Each document that changes a case brings one, it is written with
// or after the rest of its state, and its key is made with the site's secret.
// Whatever cannot be found out means no.
func (s *Service) laterStands(ctx context.Context, e *Engine, g graph.Graph) bool {
	if e.present().Rung >= RungDocument {
		return false
	}
	known, _, err := e.ledger.Entries(ctx, e.target.Name, g.CaseKey, nil)
	if err != nil {
		return false
	}
	keys := map[string]bool{}
	for k := range known {
		keys[k] = true
	}
	states := []graph.Graph{g}
	for sequence := 1; sequence < g.Sequence; sequence++ {
		earlier, err := s.renderFor(ctx, e.target, g.CaseKey, sequence)
		if err != nil {
			return false
		}
		states = append(states, earlier)
	}
	for _, state := range states {
		for _, r := range state.Resources {
			keys[r.Key] = true
		}
	}
	names := g.Named()
	hits, _ := e.target.Client.Search(ctx, fhirserver.Query{Type: "Provenance", Plain: true, Param: string(graph.ByTag),
		Values: []string{fhirserver.Token(names.CaseKeySystem, names.CaseKey)}})
	for _, h := range hits {
		if k := keyOf(h, names.RoleKeySystem); k != "" && !keys[k] {
			return true
		}
	}
	return false
}
