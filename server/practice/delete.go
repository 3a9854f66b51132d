package practice

import (
	"net/http"
	"strconv"
)

// delete marks one resource deleted; its versions stay readable.
func (r *Receiver) delete(w http.ResponseWriter, kind, id string) *refusal {
	if !r.shape.Deletes {
		return notOffered()
	}
	if refused := r.types[kind].missing(id); refused != nil {
		return refused
	}
	if refused := r.deleteAll([]*entry{{kind: kind, id: id, method: http.MethodDelete}}); refused != nil {
		return refused
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// deleteAll deletes what the entries say, when all else of the transaction stands,
// or nothing: what is referred to by something that stays has to stay.
func (r *Receiver) deleteAll(entries []*entry) *refusal {
	held := map[string]int{} // references from what is deleted too
	for _, e := range entries {
		if e.method != http.MethodDelete || r.incoming == nil {
			continue
		}
		if v, ok := r.types[e.kind].current(e.id); ok {
			eachReference(v.tree(), func(to string) { held[to]++ })
		}
	}
	for _, e := range entries {
		place := e.kind + "/" + e.id
		if e.method == http.MethodDelete && r.incoming[place] > held[place] {
			return e.blame(&refusal{status: http.StatusConflict, code: "conflict", text: "something else refers to this resource"})
		}
	}
	for _, e := range entries {
		if e.method == http.MethodDelete {
			r.bury(e.kind, e.id)
		}
	}
	return nil
}

func (r *Receiver) bury(kind, id string) {
	c := r.types[kind]
	v, ok := c.current(id)
	if !ok {
		return
	}
	if r.incoming != nil {
		r.count(v.tree(), -1)
	}
	c.bury(id, version{number: v.number + 1, method: http.MethodDelete, at: r.now(), deleted: true})
}

// countReferences counts anew. It is kept up only where something can be deleted:
// a receiver of millions of writes that deletes nothing spends nothing on it.
func (r *Receiver) countReferences() {
	r.incoming = nil
	if !r.shape.Deletes || r.shape.Lenient {
		return
	}
	r.incoming = map[string]int{}
	for _, c := range r.types {
		for _, id := range c.ids {
			v, _ := c.current(id)
			r.count(v.tree(), 1)
		}
	}
}

// refer counts the references of a new version instead of those of the one before,
// and returns how to take it back.
func (r *Receiver) refer(c *collection, id string, tree map[string]any) (undo func()) {
	if r.incoming == nil {
		return func() {}
	}
	v, existed := c.current(id)
	if existed {
		r.count(v.tree(), -1)
	}
	r.count(tree, 1)
	return func() {
		r.count(tree, -1)
		if existed {
			r.count(v.tree(), 1)
		}
	}
}

func (r *Receiver) count(tree map[string]any, by int) {
	eachReference(tree, func(to string) {
		if r.incoming[to] += by; r.incoming[to] == 0 {
			delete(r.incoming, to)
		}
	})
}

// eachReference calls f with the Type/id of every literal reference below a node.
func eachReference(node any, f func(to string)) {
	switch n := node.(type) {
	case map[string]any:
		if text, ok := n["reference"].(string); ok {
			if kind, id, ok := literal(text); ok {
				f(kind + "/" + id)
			}
		}
		for _, v := range n {
			eachReference(v, f)
		}
	case []any:
		for _, v := range n {
			eachReference(v, f)
		}
	}
}

// missing says why there is nothing to be had: never there, or deleted.
func (c *collection) missing(id string) *refusal {
	all := c.items[id]
	switch {
	case len(all) == 0:
		return notFound("there is no such resource")
	case all[len(all)-1].deleted:
		return &refusal{status: http.StatusGone, code: "deleted", text: "the resource was deleted, as version " + strconv.Itoa(len(all))}
	}
	return nil
}
