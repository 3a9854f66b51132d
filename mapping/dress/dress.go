// Package dress turns the neutral graph of a case into what one kind of target
// expects of it, in one small step after mapping.
//
// A dressing changes how resources say what they say: it adds a category, names
// an organisation, writes a date as a period, or frames the case as a document.
// It promises to keep every resource, its role and its key, so that another
// dressing later is an update and never a second record; to keep every status,
// value and unit; and to claim no profile, because a claim that cannot be
// checked here is not made. Whatever comes out still passes fhir.ValidateFor.
//
// Each dressing is one file, which registers itself in its own variable.
package dress

import (
	"fmt"
	"slices"
	"strings"

	"enbloc/mapping/fhir"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
	"enbloc/mapping/term"
)

// Dressing is one way to dress a graph.
type Dressing struct {
	// Name is what it is chosen by: lower case and hyphens.
	Name string
	// Title says in one line for whom it is.
	Title string
	// Document says that the dressing frames the case as a document: Apply
	// fills graph.Graph.Document. Such a document is never posted to the base of
	// a server, which takes transactions there.
	Document bool
	apply    func(graph.Graph) (graph.Graph, error)
}

// Base is the dressing of every target that needs no other: base R4.
const Base = "base"

// register makes a dressing known under its name.
func register(d Dressing) Dressing {
	registry[d.Name] = d
	return d
}

var registry = map[string]Dressing{}

// All lists the dressings by name, Base first.
func All() []Dressing {
	all := make([]Dressing, 0, len(registry))
	for _, d := range registry {
		all = append(all, d)
	}
	slices.SortFunc(all, func(a, b Dressing) int {
		if (a.Name == Base) != (b.Name == Base) {
			return map[bool]int{true: -1, false: 1}[a.Name == Base]
		}
		return strings.Compare(a.Name, b.Name)
	})
	return all
}

// Named returns a dressing; "" is Base. The error names those that there are.
func Named(name string) (Dressing, error) {
	if name == "" {
		name = Base
	}
	if d, ok := registry[name]; ok {
		return d, nil
	}
	var names []string
	for _, d := range All() {
		names = append(names, d.Name)
	}
	return Dressing{}, fmt.Errorf("there is no dressing of that name: use one of %s", strings.Join(names, ", "))
}

// Apply dresses a graph and checks the result. The graph that comes in is left
// as it is. Site is the overlay that it was mapped with. The zero Dressing is
// Base.
func (d Dressing) Apply(g graph.Graph, site term.Overlay) (graph.Graph, error) {
	if d.apply == nil {
		return g, nil
	}
	out, err := d.apply(g)
	if err == nil {
		err = fhir.ValidateFor(out, site)
	}
	if err != nil {
		return graph.Graph{}, fmt.Errorf("dressing the record for a target (%s): %w", d.Name, err)
	}
	return out, nil
}

// edit changes the resources of some types, one by one; change reports whether
// it did anything.
func edit(g graph.Graph, change func(r graph.Resource, o *model.Object) bool, types ...string) (graph.Graph, error) {
	g.Resources = slices.Clone(g.Resources)
	for i, r := range g.Resources {
		if !slices.Contains(types, r.Type) {
			continue
		}
		o, err := model.ParseObject(r.Body)
		if err != nil {
			return graph.Graph{}, fmt.Errorf("reading %s: %w", r.Role, err)
		}
		if !change(r, o) {
			continue
		}
		if g.Resources[i].Body, err = o.JSON(); err != nil {
			return graph.Graph{}, fmt.Errorf("writing %s: %w", r.Role, err)
		}
	}
	return g, nil
}

// object makes a JSON object of names and values in turn.
func object(members ...any) *model.Object {
	o := &model.Object{}
	for i := 0; i+1 < len(members); i += 2 {
		o.Set(members[i].(string), members[i+1])
	}
	return o
}

// list is a member that is a list, nil when it is not.
func list(o *model.Object, name string) []any {
	l, _ := o.Get(name).([]any)
	return l
}

// codes reports whether a list of concepts has a code of a system.
func codes(concepts []any, system, code string) bool {
	return slices.ContainsFunc(concepts, func(c any) bool {
		concept, ok := c.(*model.Object)
		return ok && slices.ContainsFunc(list(concept, "coding"), func(c any) bool {
			coding, ok := c.(*model.Object)
			return ok && coding.Get("system") == system && coding.Get("code") == code
		})
	})
}
