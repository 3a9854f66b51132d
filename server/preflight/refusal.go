package preflight

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
)

// Refusal is one reason for which cases of a trial cannot be delivered, in the
// terms of the sender as far as the target named a place.
type Refusal struct {
	// Cases is how many it stopped.
	Cases int `json:"cases"`
	// Type is the resource type, Path the element as FHIRPath without indices;
	// empty where the target did not say.
	Type string `json:"type,omitempty"`
	Path string `json:"path,omitempty"`
	// Report are the fields of the report that the resource says something of:
	// JSON Pointers (RFC 6901) with * for the number of an element.
	Report []string `json:"report,omitempty"`
	// Reason is that of delivery; Code is of the FHIR R4 value set issue-type.
	Reason delivery.Reason `json:"reason"`
	Code   string          `json:"code,omitempty"`
}

// sentence says it to people.
func (f Refusal) sentence() string {
	where := cmp.Or(f.Path, f.Type, "A part that the server does not name")
	if len(f.Report) > 0 {
		where += " (report: " + strings.Join(f.Report[:min(len(f.Report), 3)], ", ") + ")"
	}
	return fmt.Sprintf("%s: %s in %d.", where, strings.Join(strings.Fields(string(f.Reason)+" "+f.Code), ", "), f.Cases)
}

// nameless reports whether a failure is about the content and names no part.
func nameless(f *delivery.Failure) bool {
	return f.Reason == delivery.Refused && !f.NamesPart()
}

// refusalsOf puts a failure into the terms of the sender.
func refusalsOf(g graph.Graph, f *delivery.Failure) []Refusal {
	byRole := map[string]graph.Resource{}
	for _, res := range g.Resources {
		byRole[res.Role] = res
	}
	var all []Refusal
	for _, p := range f.Problems {
		all = append(all, Refusal{1, byRole[p.Role].Type, noNumbers(p.Path), general(p.Report), f.Reason, p.Code})
	}
	for _, d := range f.Conflicts {
		res := byRole[d.Role]
		all = append(all, Refusal{1, res.Type, noNumbers(d.Path), general(res.Pointers), f.Reason, ""})
	}
	if len(all) == 0 {
		all = []Refusal{{Cases: 1, Reason: f.Reason}}
	}
	return all
}

// tally counts refusals that say the same, once for each case.
type tally map[string]*Refusal

func (t tally) add(ofOneCase []Refusal) {
	seen := map[string]bool{}
	for _, f := range ofOneCase {
		key := f.Type + f.Path + f.Code + string(f.Reason) + strings.Join(f.Report, " ")
		switch {
		case seen[key]:
		case t[key] == nil:
			t[key] = &f
		default:
			t[key].Cases++
		}
		seen[key] = true
	}
}

// most is how many refusals a report lists; with more a target is unfit anyway.
const most = 25

func (t tally) list() []Refusal {
	all := make([]Refusal, 0, len(t))
	for _, f := range t {
		all = append(all, *f)
	}
	slices.SortFunc(all, func(a, b Refusal) int {
		return cmp.Or(b.Cases-a.Cases, cmp.Compare(a.sentence(), b.sentence()))
	})
	return all[:min(len(all), most)]
}

var (
	number = regexp.MustCompile(`/\d+`)
	index  = regexp.MustCompile(`\[\d+\]`)
)

func noNumbers(path string) string { return index.ReplaceAllString(path, "") }

// general are pointers without the numbers of elements, each once.
func general(pointers []string) []string {
	var all []string
	for _, p := range pointers {
		if p = number.ReplaceAllString(p, "/*"); !slices.Contains(all, p) {
			all = append(all, p)
		}
	}
	return all
}
