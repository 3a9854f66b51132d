package pseudo

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Way is how a field leaves. No way lets a free text out.
type Way string

// The ways.
const (
	// Code: a coded word of R4 (status, intent), as it stands.
	Code Way = "code"
	// Concept: the codings of a CodeableConcept that are in our code tables, and
	// those of AllowList.Systems without their display. The text stays.
	Concept Way = "concept"
	// Measure: a Quantity, Range or Ratio: figure, comparator and UCUM code. Years
	// above 89 become ">= 90".
	Measure Way = "measure"
	// Figure: a number, and Truth: true or false, as they stand.
	Figure Way = "figure"
	Truth  Way = "truth"
	// Date: a date or dateTime, Instant: an instant, and Span: a Period, as
	// Settings.Dates says.
	Date    Way = "date"
	Instant Way = "instant"
	Span    Way = "span"
	// Link: a reference to a resource of the case that leaves too, or to the
	// patient by pseudonym. All other references stay.
	Link Way = "link"
	// Key: the identifier that is the resource's own key, made anew. All other
	// identifiers stay.
	Key Way = "key"
	// Word: a string that is, whole, one of AllowList.Words.
	Word Way = "word"
	// Lesion: the extension procedure-targetBodyStructure with its reference.
	Lesion Way = "lesion"
)

var ways = []Way{Code, Concept, Measure, Figure, Truth, Date, Instant, Span, Link, Key, Word, Lesion}

// AllowList says what may leave.
type AllowList struct {
	// Format is "enbloc-allow-list/1".
	Format string `json:"format"`
	// Version names the content; it is shown wherever the list was used.
	Version string `json:"version"`
	// About is for the reader.
	About []string `json:"about,omitempty"`
	// Systems are code systems beside those of our tables whose codes may leave.
	Systems []string `json:"systems"`
	// Words are the strings that may leave where the way is Word.
	Words []string `json:"words"`
	// Types are the fields that leave: by resource type, by path (the elements
	// from the resource down, without list indices), the way. A type that is not
	// here does not leave.
	Types map[string]map[string]Way `json:"types"`
}

// Format is the one format of an AllowList.
const Format = "enbloc-allow-list/1"

//go:embed allow.json
var defaultList []byte

// Default is the list that is used unless a site has another.
func Default() AllowList {
	list, err := ReadAllowList(defaultList)
	if err != nil {
		panic(err) // it is compiled in, and a test reads it
	}
	return list
}

// DefaultJSON is the file of the default list, to begin another from.
func DefaultJSON() []byte { return slices.Clone(defaultList) }

// ReadAllowList reads a list. Its errors name the entry: one that silently did
// nothing, or more than was meant, would be found out too late.
func ReadAllowList(raw []byte) (AllowList, error) {
	var list AllowList
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&list); err != nil {
		return list, fmt.Errorf("reading allow-list: %w", err)
	}
	if list.Format != Format {
		return list, fmt.Errorf(`reading allow-list: "format" is not %q`, Format)
	}
	_, err := list.rules()
	return list, err
}

func (l AllowList) isZero() bool { return l.Format == "" && len(l.Types) == 0 }

// rules is a list made ready to ask.
type rules struct {
	types map[string]map[string]Way
	// inner are the paths that lead to an allowed one.
	inner          map[string]map[string]bool
	systems, words map[string]bool
}

func (l AllowList) rules() (rules, error) {
	r := rules{types: l.Types, inner: map[string]map[string]bool{}, systems: map[string]bool{}, words: map[string]bool{}}
	if l.Version == "" || len(l.Types) == 0 {
		return r, errors.New(`reading allow-list: it needs a "version" and "types"`)
	}
	for _, kind := range slices.Sorted(maps.Keys(l.Types)) {
		if required[kind] == nil {
			return r, fmt.Errorf("reading allow-list: the type %q cannot be pseudonymised: use one of %s", kind, strings.Join(Types(), ", "))
		}
		r.inner[kind] = map[string]bool{}
		for path, way := range l.Types[kind] {
			if !slices.Contains(ways, way) {
				return r, fmt.Errorf("reading allow-list: %s.%s has no way %q to leave", kind, path, way)
			}
			for at := path; ; {
				i := strings.LastIndexByte(at, '.')
				if i < 0 {
					break
				}
				at = at[:i]
				r.inner[kind][at] = true
			}
		}
		for _, path := range required[kind] {
			if !r.names(kind, path) {
				return r, fmt.Errorf("reading allow-list: %s.%s is missing, without which R4 has no %s", kind, path, kind)
			}
		}
	}
	for _, s := range l.Systems {
		if !systemForm.MatchString(s) {
			return r, fmt.Errorf("reading allow-list: the system %q is no URL", s)
		}
		r.systems[s] = true
	}
	for _, w := range l.Words {
		r.words[w] = true
	}
	return r, nil
}

func (r rules) kind(kind, path string) Way { return r.types[kind][path] }

// names reports whether the list lets out a required element; "[x]" is any of a
// choice.
func (r rules) names(kind, path string) bool {
	base, choice := strings.CutSuffix(path, "[x]")
	for p := range r.types[kind] {
		first, _, _ := strings.Cut(p, ".")
		if first == path || choice && strings.HasPrefix(first, base) {
			return true
		}
	}
	return false
}
