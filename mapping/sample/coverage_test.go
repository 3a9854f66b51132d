package sample_test

import (
	"encoding/json"
	"maps"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/sample"
	"enbloc/schemas"
)

// neverLeftOut are optional fields that every invented document must have.
var neverLeftOut = map[string]string{
	"envelope.schema.json#/properties/test_data absent": "invented data is always labelled",
	"part.schema.json#/properties/test_data absent":     "invented data is always labelled",
}

// Cover leaves out no value, no kind of absence and no optional part that the
// schemas know, and the schemas accept every document of it.
func TestCoverLeavesNothingOut(t *testing.T) {
	t.Parallel()
	book := loadSchemas(t)
	want, got := facts{}, facts{}
	for _, root := range []string{"report", "histology-part", "events-part"} {
		book.expect(root+".schema.json", "", want)
	}
	see := func(root string, document any, decode func([]byte) bool) {
		raw, err := json.Marshal(document)
		require.NoError(t, err)
		require.True(t, decode(raw), string(raw))
		var tree any
		require.NoError(t, json.Unmarshal(raw, &tree))
		book.observe(root+".schema.json", "", tree, got)
	}
	for _, c := range sample.Cover(sample.CoverAll) {
		see("report", c.Report, accepts(t, schemas.DecodeReport))
		for _, part := range c.Histology {
			see("histology-part", part, accepts(t, schemas.DecodeHistology))
		}
		for _, part := range c.Events {
			see("events-part", part, accepts(t, schemas.DecodeEvents))
		}
	}
	require.Greater(t, len(want), 800, "the walk over the schemas has lost its way")
	var missing []string
	for fact := range want {
		if !got[fact] && neverLeftOut[fact] == "" {
			missing = append(missing, fact)
		}
	}
	slices.Sort(missing)
	require.Empty(t, strings.Join(missing, "\n"), "%d of %d", len(missing), len(want))
	require.Subset(t, slices.Collect(maps.Keys(want)), slices.Collect(maps.Keys(got)), "the two walks name things alike")
}

func accepts[T any, F any](t *testing.T, decode func([]byte) (T, []F)) func([]byte) bool {
	return func(raw []byte) bool {
		_, findings := decode(raw)
		for _, f := range findings {
			t.Logf("%+v", f)
		}
		return len(findings) == 0
	}
}

// facts are sentences such as "session.schema.json#/properties/gas = air".
type facts map[string]bool

// schemaBook is every schema by file name.
type schemaBook map[string]map[string]any

func loadSchemas(t *testing.T) schemaBook {
	t.Helper()
	book := schemaBook{}
	for _, file := range schemas.Files() {
		var tree map[string]any
		require.NoError(t, json.Unmarshal(file.Body, &tree))
		book[path.Base(file.Path)] = tree
	}
	return book
}

// node is one schema with the place it stands at, "file#/pointer".
type node struct {
	place string
	body  map[string]any
}

func (b schemaBook) at(file, pointer string) node {
	body := b[file]
	for _, step := range strings.Split(pointer, "/") {
		if step != "" {
			body = body[step].(map[string]any)
		}
	}
	return node{place: file + "#" + pointer, body: body}
}

// chain is the schema and those that it refers to, one after the other.
func (b schemaBook) chain(n node) []node {
	ref, ok := n.body["$ref"].(string)
	if !ok {
		return []node{n}
	}
	file, pointer, _ := strings.Cut(ref, "#")
	if file == "" {
		file, _, _ = strings.Cut(n.place, "#")
	}
	return append([]node{n}, b.chain(b.at(file, pointer))...)
}

const numberPlace = "common.schema.json#/$defs/number"

// expect collects every fact that documents of a schema can show.
func (b schemaBook) expect(file, pointer string, want facts) {
	b.expectNode(b.at(file, pointer), "", want)
}

// expectNode walks a schema; as is the property that it stands under.
func (b schemaBook) expectNode(n node, as string, want facts) {
	for _, link := range b.chain(n) {
		for _, value := range listOf(link.body["enum"]) {
			want[as+" = "+value.(string)] = true
		}
		if link.place == numberPlace {
			for _, kind := range []string{"figure", "unknown", "not-assessed", "not-applicable"} {
				want[as+" = "+kind] = true
			}
		}
		if items, ok := link.body["items"].(map[string]any); ok {
			if most, limited := link.body["maxItems"].(float64); !limited || most > 1 {
				want[as+" several"] = true
			}
			b.expectNode(node{link.place + "/items", items}, as, want)
		}
		b.expectProperties(link, want)
	}
}

func (b schemaBook) expectProperties(n node, want facts) {
	required := listOf(n.body["required"])
	properties, _ := n.body["properties"].(map[string]any)
	for name, body := range properties {
		place := n.place + "/properties/" + name
		if want[place+" present"] {
			continue // walked before
		}
		want[place+" present"] = true
		if !slices.Contains(required, any(name)) {
			want[place+" absent"] = true
		}
		b.expectNode(node{place, body.(map[string]any)}, place, want)
	}
}

// observe collects the facts that a document shows.
func (b schemaBook) observe(file, pointer string, value any, got facts) {
	b.observeNode(b.at(file, pointer), "", value, got)
}

func (b schemaBook) observeNode(n node, as string, value any, got facts) {
	for _, link := range b.chain(n) {
		if text, ok := value.(string); ok && (link.body["enum"] != nil || link.place == numberPlace) {
			got[as+" = "+text] = true
		}
		if _, ok := value.(float64); ok && link.place == numberPlace {
			got[as+" = figure"] = true
		}
		if items, ok := link.body["items"].(map[string]any); ok {
			if len(listOf(value)) > 1 {
				got[as+" several"] = true
			}
			for _, item := range listOf(value) {
				b.observeNode(node{link.place + "/items", items}, as, item, got)
			}
		}
		members, _ := value.(map[string]any)
		properties, _ := link.body["properties"].(map[string]any)
		for name, body := range properties {
			place := link.place + "/properties/" + name
			member, there := members[name]
			if !there {
				if !slices.Contains(listOf(link.body["required"]), any(name)) {
					got[place+" absent"] = true
				}
				continue
			}
			got[place+" present"] = true
			b.observeNode(node{place, body.(map[string]any)}, place, member, got)
		}
	}
}

func listOf(v any) []any {
	list, _ := v.([]any)
	return list
}
