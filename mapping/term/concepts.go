package term

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"
)

// Canonical addresses of our own terminology.
const (
	Base   = "https://enbloc.example/fhir"
	System = Base + "/CodeSystem/enbloc"
)

// Relation says how a standard code relates to one of our concepts.
type Relation string

// Relations, as in ConceptMap.group.element.target.equivalence of FHIR R4.
const (
	Equivalent Relation = "equivalent"
	Wider      Relation = "wider" // the standard code means more than our concept
)

// Standard is a standard code that belongs to one of our concepts.
type Standard struct {
	Relation Relation
	Code     Code
}

// Concept is one of our own concepts.
type Concept struct {
	Group      string // the value set that holds it
	Code       string
	Display    string
	Definition string
	// Standards are the standard codes that mean the same or more, in the
	// order in which they are sent after our own.
	Standards []Standard
}

//go:embed concepts.tsv
var conceptsTSV string

type conceptTable struct {
	list   []Concept
	groups []string
	byCode map[string]Concept
	byName map[name]Concept
}

// name is what a concept is looked up by.
type name struct{ group, code string }

var concepts = sync.OnceValue(func() conceptTable {
	t := conceptTable{byCode: map[string]Concept{}, byName: map[name]Concept{}}
	for _, f := range rows(conceptsTSV, 5) {
		c := Concept{Group: f[0], Code: f[1], Display: f[2], Definition: f[3], Standards: standards(f[4])}
		if len(t.groups) == 0 || t.groups[len(t.groups)-1] != c.Group {
			t.groups = append(t.groups, c.Group)
		}
		t.list = append(t.list, c)
		t.byCode[c.Code] = c
		t.byName[name{c.Group, c.Code}] = c
	}
	return t
})

// standards reads "=key" (means the same) and "<key" (our concept is narrower).
func standards(field string) []Standard {
	var out []Standard
	for _, item := range strings.Fields(field) {
		relation := Equivalent
		if item[0] == '<' {
			relation = Wider
		}
		code, ok := Lookup(item[1:])
		if !ok {
			panic(fmt.Sprintf("term: concepts.tsv refers to %q, which codes.tsv does not have", item[1:]))
		}
		out = append(out, Standard{Relation: relation, Code: code})
	}
	return out
}

// Concepts lists every concept of our own.
func Concepts() []Concept { return concepts().list }

// Groups lists the groups of concepts, in the order of the table.
func Groups() []string { return concepts().groups }

// Own returns our concept of a group by its code or by the value of the report
// that it stands for: Own("jnet", "2A") is the concept with code "jnet-2a".
func Own(group, value string) (Concept, bool) {
	t := concepts()
	if c, ok := t.byName[name{group, value}]; ok {
		return c, true
	}
	c, ok := t.byName[name{group, group + "-" + Slug(value)}]
	return c, ok
}

// Slug turns a value of the report, or the id of a rule, into the spelling
// that codes have: lower case, digits and single hyphens.
func Slug(value string) string {
	var b strings.Builder
	b.Grow(len(value))
	for _, r := range strings.ToLower(value) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.TrimSuffix(b.String(), "-")
}
