package practice

import (
	_ "embed"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// r4 is the table of elements, made from HL7's JSON Schema; see
// internal/elements.
//
//go:embed r4.txt
var r4 string

// definition is a type with its elements.
type definition map[string]element

// element is what may stand under a name.
type element struct {
	list bool
	// of is nil for a primitive, primitive empty for a type.
	of        definition
	primitive string
	// resource: a contained resource.
	resource bool
	// choice is the stem of value[x], of which one may be there.
	choice string
	codes  []string
}

// definitions are read when they are first needed: most of what links this
// package never takes a resource.
var definitions = sync.OnceValue(func() map[string]definition {
	all := map[string]definition{}
	lines := strings.Split(strings.TrimSpace(r4), "\n")
	for _, line := range lines { // types refer to each other, so all are there first
		name, _, _ := strings.Cut(line, " ")
		all[name] = definition{}
	}
	for _, line := range lines {
		name, rest, _ := strings.Cut(line, " ")
		for _, text := range strings.Fields(rest) {
			element, what := readElement(text, all)
			if more := bindings[name+"."+element]; more != "" {
				what.codes = strings.Fields(more)
			}
			all[name][element] = what
		}
	}
	return all
})

// readElement reads name*:type/choice=code|code.
func readElement(text string, all map[string]definition) (string, element) {
	var e element
	name, kind, _ := strings.Cut(text, ":")
	name, e.list = strings.CutSuffix(name, "*")
	if before, codes, ok := strings.Cut(kind, "="); ok {
		kind, e.codes = before, strings.Split(codes, "|")
	}
	kind, e.choice, _ = strings.Cut(kind, "/")
	switch {
	case kind == "Resource":
		e.resource = true
	case all[kind] != nil:
		e.of = all[kind]
	default:
		e.primitive = kind
	}
	return name, e
}

// checkContent refuses what R4's definition of the type does not allow: unknown
// elements, wrong kinds of JSON, dates that are none, codes outside a required
// binding. The real server, as it comes, refuses dates and codes, and drops or
// twists the rest without a word, which would teach wrong.
func checkContent(kind string, tree map[string]any) *refusal {
	if refused := checkObject(definitions()[kind], tree); refused != nil {
		refused.place = kind + refused.place
		return refused
	}
	return nil
}

// checkObject builds the place of what it refuses on the way back: nothing is
// spent on it where all is well.
func checkObject(d definition, tree map[string]any) *refusal {
	if len(tree) == 0 {
		return wrong("an empty object")
	}
	var room [4]string
	chosen := room[:0]
	for name, v := range tree {
		if name == "resourceType" {
			continue
		}
		e, known := d[name]
		if !known {
			if refused := d.checkExtra(name, v); refused != nil {
				return refused.at(name)
			}
			continue
		}
		if e.choice != "" {
			if slices.Contains(chosen, e.choice) {
				return wrong("a choice is there twice").at(e.choice)
			}
			chosen = append(chosen, e.choice)
		}
		if refused := e.check(v, tree, name); refused != nil {
			return refused.at(name)
		}
	}
	return nil
}

// checkExtra looks at _name, which carries the extensions of a primitive.
func (d definition) checkExtra(name string, v any) *refusal {
	bare, extra := strings.CutPrefix(name, "_")
	e, known := d[bare]
	if !extra || !known || e.primitive == "" {
		return wrong("an element that the type does not have")
	}
	e = element{list: e.list, of: definitions()["Element"]}
	return e.check(v, nil, name)
}

// check looks at one element; beside are its neighbours.
func (e element) check(v any, beside map[string]any, name string) *refusal {
	if !e.list {
		return e.checkOne(v)
	}
	list, ok := v.([]any)
	if !ok || len(list) == 0 {
		return wrong("no list, or an empty one")
	}
	for i, one := range list {
		if one == nil && (beside == nil || beside["_"+name] != nil) {
			continue // its place is kept for the other list
		}
		if refused := e.checkOne(one); refused != nil {
			refused.place = "[" + strconv.Itoa(i) + "]" + refused.place
			return refused
		}
	}
	return nil
}

func (e element) checkOne(v any) *refusal {
	if e.primitive != "" {
		return e.checkPrimitive(v)
	}
	tree, ok := v.(map[string]any)
	if !ok {
		return wrong("an object belongs here")
	}
	if !e.resource {
		return checkObject(e.of, tree)
	}
	kind, _ := tree["resourceType"].(string)
	if kinds[kind].name == "" {
		return wrong("a contained resource of a type that is not known here")
	}
	return checkObject(definitions()[kind], tree)
}

func (e element) checkPrimitive(v any) *refusal {
	switch e.primitive {
	case "boolean":
		if _, ok := v.(bool); !ok {
			return wrong("true or false belongs here")
		}
		return nil
	case "decimal", "integer", "positiveInt", "unsignedInt":
		n, ok := v.(json.Number)
		if !ok || e.primitive != "decimal" && !validInteger(n.String(), e.primitive) {
			return wrong("a number belongs here, whole if it counts")
		}
		return nil
	}
	text, ok := v.(string)
	if !ok || text == "" {
		return wrong("a text belongs here, and not an empty one")
	}
	switch {
	case e.codes != nil && !slices.Contains(e.codes, text):
		return &refusal{status: http.StatusBadRequest, code: "value", text: "a code that the element does not allow"}
	case e.primitive == "xhtml" && !wellFormed(text):
		return wrong("no well-formed XHTML")
	case !validMoment(e.primitive, text):
		return &refusal{status: http.StatusBadRequest, code: "value", text: "no date or time as FHIR spells it"}
	}
	return nil
}

func validInteger(text, kind string) bool {
	n, err := strconv.ParseInt(text, 10, 32)
	switch kind {
	case "positiveInt":
		return err == nil && n > 0
	case "unsignedInt":
		return err == nil && n >= 0
	}
	return err == nil
}

func wrong(text string) *refusal {
	return &refusal{status: http.StatusBadRequest, code: "structure", text: text}
}

// at puts a name before the place, which may begin with an index.
func (e *refusal) at(name string) *refusal {
	e.place = "." + safeName(name) + e.place
	return e
}
