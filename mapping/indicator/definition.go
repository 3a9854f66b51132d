package indicator

import (
	"bytes"
	_ "embed" // the definitions
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"enbloc/mapping/table"
)

//go:embed definitions.json
var standard []byte

// Kind is what kind of figure an indicator gives.
type Kind string

// Kinds.
const (
	Proportion Kind = "proportion"
	Count      Kind = "count"
	Median     Kind = "median"
)

// Definition is one indicator as the file defines it.
type Definition struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Ten is the number among the ten indicators (Ann Transl Med 2018;6:262,
	// Table 1), 0 for others.
	Ten int `json:"ten,omitempty"`
	// Per is the table whose rows are counted: resection or event.
	Per  string `json:"per"`
	Kind Kind   `json:"kind"`
	// Value is the column of a median, Unit its UCUM code.
	Value string `json:"value,omitempty"`
	Unit  string `json:"unit,omitempty"`
	// Denominator names predicates that must all hold, Exclusions those of
	// which none may, Numerator the one that is asked.
	Denominator []string `json:"denominator"`
	Exclusions  []string `json:"exclusions,omitempty"`
	Numerator   string   `json:"numerator,omitempty"`
	// Direction is which way is better: higher, lower or none.
	Direction  string      `json:"direction"`
	Source     string      `json:"source"`
	Caution    string      `json:"caution,omitempty"`
	Benchmarks []Benchmark `json:"benchmarks,omitempty"`
}

// Benchmark is a published figure to compare with.
type Benchmark struct {
	Pct   float64 `json:"pct,omitempty"`   // percent, of a proportion
	Value float64 `json:"value,omitempty"` // of a median, in its unit
	Of    string  `json:"of"`
	// Organs are those it was counted in; empty means any.
	Organs    []string `json:"organs,omitempty"`
	Source    string   `json:"source"`
	Confirmed string   `json:"confirmed"`
}

// Set is a checked file of definitions.
type Set struct {
	Version    string
	Indicators []Definition

	population []test
	compiled   []compiled
	predicates map[string]Predicate
}

type compiled struct {
	denominator, exclusions []test
	numerator               test
	value                   cell
}

// Standard is the set that enbloc ships.
func Standard() *Set {
	set, err := Load(standard)
	if err != nil {
		panic("reading embedded definitions: " + err.Error())
	}
	return set
}

// Load reads a file of definitions. A name that leads nowhere, a column that
// no table has, and a member that the format does not know are errors.
func Load(raw []byte) (*Set, error) {
	var file struct {
		Version    string               `json:"version"`
		About      string               `json:"about"`
		Sources    map[string]string    `json:"sources"`
		Population []string             `json:"population"`
		Predicates map[string]Predicate `json:"predicates"`
		Indicators []Definition         `json:"indicators"`
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return nil, fmt.Errorf("reading definitions of indicators: %w", err)
	}
	s := &Set{Version: file.Version, Indicators: file.Indicators, predicates: file.Predicates}
	c := compiler{predicates: file.Predicates}
	s.population = c.tests("population", file.Population)
	seen := map[string]bool{}
	for i := range s.Indicators {
		def := &s.Indicators[i]
		if seen[def.ID] {
			c.fail("indicator %q stands there twice", def.ID)
		}
		seen[def.ID] = true
		s.compiled = append(s.compiled, c.indicator(def))
		c.cite(file.Sources, &def.Source)
		for j := range def.Benchmarks {
			c.cite(file.Sources, &def.Benchmarks[j].Source)
		}
	}
	if s.Version == "" || len(s.Indicators) == 0 {
		c.fail("a version and at least one indicator are needed")
	}
	return s, errors.Join(c.errs...)
}

// cite puts the citation in the place of its short name.
func (c *compiler) cite(sources map[string]string, name *string) {
	if sources[*name] == "" {
		c.fail("source %q is not listed", *name)
	}
	*name = sources[*name]
}

func (c *compiler) indicator(d *Definition) compiled {
	if d.ID == "" || strings.Trim(d.ID, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		c.fail("indicator %q: an id has lower case letters, digits and hyphens", d.ID)
	}
	if d.Per != table.Resections.Name && d.Per != table.Events.Name {
		c.fail("indicator %q: per has to be resection or event", d.ID)
	}
	if !slices.Contains([]string{"higher", "lower", "none"}, d.Direction) {
		c.fail("indicator %q: direction has to be higher, lower or none", d.ID)
	}
	out := compiled{denominator: c.tests(d.ID, d.Denominator), exclusions: c.tests(d.ID, d.Exclusions)}
	switch d.Kind {
	case Proportion:
		out.numerator = c.named(d.ID, d.Numerator)
	case Median:
		out.value = c.column(d.ID, d.Value)
	case Count:
	default:
		c.fail("indicator %q: kind has to be proportion, count or median", d.ID)
	}
	return out
}

// Select returns the set with the named indicators only, in the order of the
// file; no name means all. An unknown name is an [*UnknownError].
func (s *Set) Select(ids ...string) (*Set, error) {
	if len(ids) == 0 {
		return s, nil
	}
	out := *s
	out.Indicators, out.compiled = nil, nil
	for _, id := range ids {
		if !slices.ContainsFunc(s.Indicators, func(d Definition) bool { return d.ID == id }) {
			return nil, &UnknownError{ID: id, Known: s.IDs()}
		}
	}
	for i, d := range s.Indicators {
		if slices.Contains(ids, d.ID) {
			out.Indicators, out.compiled = append(out.Indicators, d), append(out.compiled, s.compiled[i])
		}
	}
	return &out, nil
}

// IDs lists the indicators.
func (s *Set) IDs() []string {
	out := make([]string, len(s.Indicators))
	for i, d := range s.Indicators {
		out[i] = d.ID
	}
	return out
}

// UnknownError names an indicator that the set does not have.
type UnknownError struct {
	ID    string
	Known []string
}

func (e *UnknownError) Error() string {
	return fmt.Sprintf("there is no indicator %q: choose from %s", e.ID, strings.Join(e.Known, ", "))
}
