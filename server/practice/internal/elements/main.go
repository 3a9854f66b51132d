// Command elements writes the table of elements of the practice receiver
// (server/practice/r4.txt) from HL7's fhir.schema.json of R4:
//
//	go run ./server/practice/internal/elements fhir.schema.json > server/practice/r4.txt
//
// A line is a type with its elements: name, * for a list, the type, and after =
// the codes of a required binding. Elements of one choice name it after "/".
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"enbloc/server/practice"
)

type property struct {
	Ref   string    `json:"$ref"`
	Type  string    `json:"type"`
	Const string    `json:"const"`
	Enum  []string  `json:"enum"`
	Items *property `json:"items"`
}

type definition struct {
	Properties map[string]property `json:"properties"`
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: elements fhir.schema.json")
		os.Exit(2)
	}
	if err := write(os.Args[1], practice.Types()); err != nil {
		fmt.Fprintln(os.Stderr, "elements:", err)
		os.Exit(1)
	}
}

func write(file string, types []string) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	var schema struct{ Definitions map[string]definition }
	if err := json.Unmarshal(raw, &schema); err != nil {
		return err
	}
	lines := map[string]string{}
	for todo := append(types, "Element"); len(todo) > 0; todo = todo[1:] {
		name := todo[0]
		d, ok := schema.Definitions[name]
		if !ok {
			return fmt.Errorf("there is no type %s", name)
		}
		if lines[name] != "" || len(d.Properties) == 0 {
			continue // done, or a primitive
		}
		line, others := d.line(name)
		lines[name] = line
		todo = append(todo, others...)
	}
	out := bufio.NewWriter(os.Stdout)
	for _, name := range slices.Sorted(maps.Keys(lines)) {
		fmt.Fprintln(out, lines[name])
	}
	return out.Flush()
}

// line is the line of a type, and the types that it names.
func (d definition) line(name string) (line string, others []string) {
	choices := d.choices()
	line = name
	for _, element := range slices.Sorted(maps.Keys(d.Properties)) {
		p := d.Properties[element]
		if p.Const != "" || strings.HasPrefix(element, "_") {
			continue
		}
		line += " " + element
		if p.Items != nil {
			line, p = line+"*", *p.Items
		}
		kind := p.kind(element)
		line += ":" + kind
		if choice := choices[element]; choice != "" {
			line += "/" + choice
		}
		if len(p.Enum) > 0 {
			line += "=" + strings.Join(p.Enum, "|")
		}
		if p.Ref != "" && kind != "Resource" {
			others = append(others, kind)
		}
	}
	return line, others
}

// kind is the type of an element. The schema spells a primitive out where it is
// one of a choice; there the name ends with it.
func (p property) kind(element string) string {
	if _, kind, ok := strings.Cut(p.Ref, "#/definitions/"); ok {
		if kind == "ResourceList" {
			return "Resource"
		}
		return kind
	}
	if len(p.Enum) > 0 {
		return "code"
	}
	for _, kind := range primitives {
		if strings.HasSuffix(element, strings.ToUpper(kind[:1])+kind[1:]) {
			return kind
		}
	}
	return "string"
}

// primitives, the longer of two with one end first.
var primitives = []string{"base64Binary", "boolean", "canonical", "code", "dateTime", "date", "decimal", "id", "instant", "unsignedInt", "positiveInt",
	"integer", "markdown", "oid", "string", "time", "uri", "url", "uuid"}

// choices finds value[x]: elements whose names begin alike and end with their
// type, which are no lists.
func (d definition) choices() map[string]string {
	groups := map[string][]string{}
	for element, p := range d.Properties {
		kind := p.kind(element)
		stem, ok := strings.CutSuffix(element, strings.ToUpper(kind[:1])+kind[1:])
		if ok && stem != "" && p.Items == nil && !strings.HasPrefix(element, "_") {
			groups[stem] = append(groups[stem], element)
		}
	}
	of := map[string]string{}
	for stem, elements := range groups {
		if len(elements) > 1 {
			for _, element := range elements {
				of[element] = stem
			}
		}
	}
	return of
}
