package delivery

import (
	"strings"

	"enbloc/server/target/fhirserver"
)

// Single requests have to come in an order in which whatever is referred to is
// there already. The model has circles: a Procedure names the report, the report
// names its results, and these name the Procedure. They are broken at their
// weakest place: what is referred to too early is left out at first and put in
// by a second write, once it has a place.

// stage orders what the references do not: reports after all else, so that a
// case half written is never visible as a report; then what has left the case,
// which the report must not name any more; Provenances at the very end.
func stage(o op) int {
	switch {
	case o.kind == "Provenance":
		return 3
	case o.action == void:
		return 2
	case o.kind == "DiagnosticReport":
		return 1
	}
	return 0
}

// inOrder sorts ops for single requests: by stage, within a stage what is
// referred to first, else as they came. The same ops always give the same order.
func inOrder(ops []op) []op {
	byURN := make(map[string]int, len(ops))
	for i, o := range ops {
		if o.uuid != "" {
			byURN["urn:uuid:"+o.uuid] = i
		}
	}
	ordered := make([]op, 0, len(ops))
	state := make([]int, len(ops)) // 0 not seen, 1 on the way, 2 placed
	var visit func(i int)
	visit = func(i int) {
		if state[i] != 0 {
			return
		}
		state[i] = 1
		ops[i].local.each(func(raw []byte) {
			if j, ok := byURN[string(raw)]; ok && stage(ops[j]) == stage(ops[i]) {
				visit(j)
			}
		})
		state[i] = 2
		ordered = append(ordered, ops[i])
	}
	for s := range 4 {
		for i := range ops {
			if stage(ops[i]) == s {
				visit(i)
			}
		}
	}
	return ordered
}

// dangling reports whether a body refers to a neighbour that has no place yet.
func dangling(raw []byte) bool { return names(bodyOf(raw), func(string) bool { return true }) }

// names reports whether a body refers to a neighbour of some kind, by its urn.
func names(b body, of func(urn string) bool) bool {
	found := false
	b.each(func(raw []byte) {
		found = found || strings.HasPrefix(string(raw), "urn:uuid:") && of(string(raw))
	})
	return found
}

// pruned takes every reference to a neighbour without a place out of a body,
// and whatever becomes empty by it. What is left out stays out until the second
// write.
func pruned(body []byte) ([]byte, error) {
	return prunedOf(body, func(string) bool { return true })
}

// prunedOf takes some of the references to neighbours out of a body.
func prunedOf(body []byte, lost func(urn string) bool) ([]byte, error) {
	tree, err := fhirserver.DecodeTree[any](body)
	if err != nil {
		return nil, err
	}
	kept, _ := prune(tree, func(reference string) bool { return strings.HasPrefix(reference, "urn:uuid:") && lost(reference) })
	return fhirserver.EncodeTree(kept)
}

// prune returns the node without the references that are lost; keep is false
// when nothing of it is left.
func prune(node any, lost func(urn string) bool) (kept any, keep bool) {
	switch n := node.(type) {
	case map[string]any:
		if text, ok := n["reference"].(string); ok && lost(text) {
			return nil, false
		}
		out := make(map[string]any, len(n))
		for k, v := range n {
			if left, ok := prune(v, lost); ok {
				out[k] = left
			}
		}
		return out, len(out) > 0 || len(n) == 0
	case []any:
		out := make([]any, 0, len(n))
		for _, v := range n {
			if left, ok := prune(v, lost); ok {
				out = append(out, left)
			}
		}
		return out, len(out) > 0 || len(n) == 0
	}
	return node, true
}
