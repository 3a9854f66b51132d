package rebuild

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"

	"enbloc/mapping/graph"
)

// node is a JSON object with its numbers as they were written.
type node map[string]any

// Record is a set of resources that refer to each other.
type Record struct {
	at    map[string]node   // by what refers to it: "Type/id" or an urn
	kinds map[string][]node // by type, in the order in which they were given
}

// FromGraph is the record before any server had it.
func FromGraph(g graph.Graph) (Record, error) {
	r := newRecord()
	for _, one := range g.Resources {
		if err := r.add(one.Body, one.Reference()); err != nil {
			return Record{}, err
		}
	}
	return r, nil
}

// FromServer is the record as a server gives it: each resource with its id, and
// references that read Type/id. Of a resource that comes twice the last counts.
func FromServer(resources []json.RawMessage) (Record, error) {
	r := newRecord()
	for _, raw := range resources {
		if err := r.add(raw, ""); err != nil {
			return Record{}, err
		}
	}
	return r, nil
}

func newRecord() Record { return Record{at: map[string]node{}, kinds: map[string][]node{}} }

func (r Record) add(raw []byte, reference string) error {
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.UseNumber()
	var n node
	if err := decoder.Decode(&n); err != nil {
		return fmt.Errorf("reading a resource of the record: %w", err)
	}
	kind := n.text("resourceType")
	if reference == "" {
		reference = kind + "/" + n.text("id")
	}
	if n.text("status") == "entered-in-error" {
		return nil
	}
	if _, twice := r.at[reference]; !twice {
		r.kinds[kind] = append(r.kinds[kind], n)
	}
	r.at[reference] = n
	n["§"] = reference // how others name it; no member of FHIR begins so
	return nil
}

// to follows the first reference in a member that is one, or a list of them.
func (r Record) to(n node, member string) node {
	for _, target := range n.refs(member) {
		if found := r.at[target]; found != nil {
			return found
		}
	}
	return nil
}

// text is a member that is a string, "" when it is none.
func (n node) text(member string) string {
	s, _ := n[member].(string)
	return s
}

// in is a member that is an object; an empty one when it is none.
func (n node) in(member string) node {
	switch m := n[member].(type) {
	case map[string]any:
		return m
	case node:
		return m
	}
	return node{}
}

// list is a member that is a list of objects.
func (n node) list(member string) []node {
	items, _ := n[member].([]any)
	out := make([]node, 0, len(items))
	for _, item := range items {
		if m, ok := item.(map[string]any); ok {
			out = append(out, m)
		}
	}
	return out
}

// refs are the references of a member that is one, or a list of them.
func (n node) refs(member string) []string {
	if one := n.in(member).text("reference"); one != "" {
		return []string{one}
	}
	var out []string
	for _, item := range n.list(member) {
		if one := item.text("reference"); one != "" {
			out = append(out, one)
		}
	}
	return out
}

func (n node) names(member string, target node) bool {
	return target != nil && slices.Contains(n.refs(member), target.text("§"))
}

// firstNote is the first annotation, "" when there is none.
func (n node) firstNote() string {
	for _, note := range n.list("note") {
		return note.text("text")
	}
	return ""
}
