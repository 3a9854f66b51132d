package main

import (
	"encoding/json"

	"enbloc/server/target/fhirserver"
)

// Where each resource is written by itself, what refers to each other in a circle
// cannot all come whole: a first version may leave out references to what does not
// stand yet. What must stand at the end is the whole form, as everywhere.

// partialOf is the first state, from one on, in which a resource looks so but for
// references to parts of the case that do not stand; 0 when there is none.
func (e expected) partialOf(roleKey, form string, from int, stands map[string]bool) int {
	var is any
	if json.Unmarshal([]byte(form), &is) != nil {
		return 0
	}
	named := map[string]bool{}
	fhirserver.EachObject(is, func(o map[string]any) {
		if key, ok := o["reference"].(string); ok {
			named[key] = true
		}
	})
	for n := from; n <= len(e.states); n++ {
		state := e.states[n-1]
		tree, err := decode(json.RawMessage(state[roleKey]))
		if err != nil { // not of this state
			continue
		}
		left, _ := without(tree, func(key string) bool { return state[key] != "" && !named[key] && !stands[key] })
		if raw, err := json.Marshal(left); err == nil && string(raw) == form {
			return n
		}
	}
	return 0
}

// without is a plain form without some references and what is empty without them;
// keep is false when nothing is left.
func without(node any, gone func(key string) bool) (left any, keep bool) {
	switch n := node.(type) {
	case map[string]any:
		if key, ok := n["reference"].(string); ok && gone(key) {
			return nil, false
		}
		out := map[string]any{}
		for k, v := range n {
			if v, ok := without(v, gone); ok {
				out[k] = v
			}
		}
		return out, len(out) > 0 || len(n) == 0
	case []any:
		out := []any{}
		for _, v := range n {
			if v, ok := without(v, gone); ok {
				out = append(out, v)
			}
		}
		return out, len(out) > 0 || len(n) == 0
	}
	return node, true
}
