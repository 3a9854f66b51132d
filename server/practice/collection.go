package practice

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strconv"
	"time"
)

// version is one stored version of a resource, as JSON: a tree of maps takes
// ten times the room, and a run can make millions.
type version struct {
	number int
	method string
	at     time.Time
	raw    json.RawMessage
	// deleted: the resource is gone from here on; there is no raw.
	deleted bool
}

// tree is the version as it can be looked into.
func (v version) tree() map[string]any {
	tree, err := decode(v.raw)
	if err != nil {
		panic("practice: a stored version is no JSON: " + err.Error()) // it was made by encode
	}
	return tree
}

// encode keeps digits and spares escapes that only HTML needs.
func encode(tree map[string]any) json.RawMessage {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(tree); err != nil {
		panic("practice: a resource that was JSON is none any more: " + err.Error())
	}
	return bytes.Clone(bytes.TrimRight(b.Bytes(), "\n"))
}

// collection holds all resources of a type, with an index of their tokens: a
// conditional create per resource must not cost a walk over all of them.
type collection struct {
	name  string
	ids   []string // in the order of creation
	items map[string][]version
	index map[string]map[string]bool // param=system|value -> ids
}

func newCollection(name string) *collection {
	return &collection{name: name, items: map[string][]version{}, index: map[string]map[string]bool{}}
}

func (c *collection) current(id string) (version, bool) {
	all := c.items[id]
	if len(all) == 0 || all[len(all)-1].deleted {
		return version{}, false
	}
	return all[len(all)-1], true
}

// push adds a version and returns how to take it back.
func (c *collection) push(id string, v version, tree map[string]any) (undo func()) {
	before, existed := c.current(id)
	if existed {
		c.reindex(id, before.tree(), false)
	} else {
		c.ids = append(c.ids, id)
	}
	c.items[id] = append(c.items[id], v)
	c.reindex(id, tree, true)
	return func() {
		c.reindex(id, tree, false)
		c.items[id] = c.items[id][:len(c.items[id])-1]
		if existed {
			c.reindex(id, before.tree(), true)
			return
		}
		if len(c.items[id]) == 0 {
			delete(c.items, id)
		}
		c.ids = c.ids[:len(c.ids)-1] // undone in reverse order, so it is the last
	}
}

func (c *collection) reindex(id string, tree map[string]any, add bool) {
	for param, tokens := range map[string][]token{"identifier": identifiers(tree), "_tag": tags(tree)} {
		for _, t := range tokens {
			key := param + "=" + t.system + "|" + t.value
			switch {
			case add && c.index[key] == nil:
				c.index[key] = map[string]bool{id: true}
			case add:
				c.index[key][id] = true
			default:
				delete(c.index[key], id)
				if len(c.index[key]) == 0 {
					delete(c.index, key)
				}
			}
		}
	}
}

// bury ends a resource with a version that says so. What is deleted is mostly
// young, so its place in the order is looked for from the end.
func (c *collection) bury(id string, end version) {
	if v, ok := c.current(id); ok {
		c.reindex(id, v.tree(), false)
	}
	c.items[id] = append(c.items[id], end)
	for i := len(c.ids) - 1; i >= 0; i-- {
		if c.ids[i] == id {
			c.ids = slices.Delete(c.ids, i, i+1)
			return
		}
	}
}

// stamped copies a tree and puts the server's id and meta into it.
func stamped(tree map[string]any, id string, number int, at time.Time) map[string]any {
	out := make(map[string]any, len(tree)+2)
	for k, v := range tree {
		out[k] = v
	}
	meta := map[string]any{}
	if given, ok := tree["meta"].(map[string]any); ok {
		for k, v := range given {
			meta[k] = v
		}
	}
	meta["versionId"], meta["lastUpdated"] = strconv.Itoa(number), at.UTC().Format("2006-01-02T15:04:05.000Z07:00")
	out["id"], out["meta"] = id, meta
	return out
}

// decode reads one JSON object, digits of numbers kept.
func decode(raw []byte) (map[string]any, error) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var tree map[string]any
	if err := d.Decode(&tree); err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) || tree == nil {
		return nil, errors.New("there is more than one JSON value, or none")
	}
	return tree, nil
}
