package schemas

import (
	"errors"
	"fmt"
	"net/url"
	"sort"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"enbloc/mapping/report"
)

// sourceFormat is the source of every finding that the format itself makes.
const sourceFormat = "enbloc report format, major version 1"

// validate runs the schema over a scanned document. Values named in refused
// have their finding already.
func validate(tree any, kind string, refused map[string]bool) []report.Finding {
	all := compiled()
	err := all.roots[kind].Validate(tree)
	if err == nil {
		return nil
	}
	var failure *jsonschema.ValidationError
	if !errors.As(err, &failure) {
		// Neither loops in the schemas nor foreign types in the tree exist.
		panic("validating a scanned document: " + err.Error())
	}
	var findings []report.Finding
	for _, leaf := range leaves(failure, nil) {
		f := all.finding(tree, leaf)
		for _, one := range f {
			if !refused[one.Pointer] {
				findings = append(findings, one)
			}
		}
	}
	return findings
}

// leaves collects the failures that name a cause; the library wraps them in
// lines such as "doesn't validate with …". Alternatives (anyOf) fail as one.
func leaves(e *jsonschema.ValidationError, found []*jsonschema.ValidationError) []*jsonschema.ValidationError {
	if len(e.Causes) == 0 || strings.HasSuffix(e.AbsoluteKeywordLocation, "/anyOf") {
		return append(found, e)
	}
	for _, cause := range e.Causes {
		found = leaves(cause, found)
	}
	return found
}

// place is where and by what rule a document fails.
type place struct {
	rule    *jsonschema.Schema
	keyword string
	pointer string
	field   string // last field name of the pointer, "" at the root
	value   any
}

// finding turns one failure into findings: one, or one for each field that is
// missing or unknown.
func (r *rules) finding(tree any, e *jsonschema.ValidationError) []report.Finding {
	location, keyword := cutLast(e.AbsoluteKeywordLocation)
	p := place{rule: r.parts[location], keyword: keyword}
	tokens := pointerTokens(e.InstanceLocation)
	if keyword == "unevaluatedProperties" {
		tokens = nil // only whole documents build on another schema; speak of the document
	}
	p.value, p.pointer, p.field = resolve(tree, tokens)
	switch {
	case p.rule == nil:
		return []report.Finding{p.says("schema.form", p.subject()+" is not as the format wants it.", "Compare it with the published schema.")}
	case keyword == "required":
		return p.missing(r)
	case keyword == "additionalProperties", keyword == "unevaluatedProperties":
		return p.unknown()
	}
	return []report.Finding{p.explain()}
}

// says makes a finding about the place.
func (p place) says(id, text, mend string) report.Finding {
	return report.Finding{ID: id, Severity: report.Error, Pointer: p.pointer, Text: text, Mend: mend, Source: sourceFormat}
}

// subject is what a sentence about the place begins with.
func (p place) subject() string {
	if p.field == "" {
		return "The document"
	}
	return `"` + p.field + `"`
}

// missing makes one finding for each required field that is not there. The
// pointer is where it should be.
func (p place) missing(r *rules) []report.Finding {
	object, _ := p.value.(map[string]any)
	var findings []report.Finding
	for _, name := range p.rule.Required {
		if _, there := object[name]; there {
			continue
		}
		at := place{pointer: p.pointer + "/" + name, field: name}
		mend := `Add the field "` + name + `".`
		if text := r.describe(p.rule, name); text != "" {
			mend = `Add the field "` + name + `": ` + lowerFirst(text)
		}
		findings = append(findings, at.says("schema.required", at.subject()+" is missing.", mend))
	}
	return findings
}

// unknown makes one finding for each field that the format does not have.
func (p place) unknown() []report.Finding {
	object, _ := p.value.(map[string]any)
	fields := fieldsOf(p.rule)
	var names []string
	for name := range object {
		if _, known := fields[name]; !known {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	known := make([]string, 0, len(fields))
	for name := range fields {
		known = append(known, name)
	}
	sort.Strings(known)
	var findings []report.Finding
	for _, name := range names {
		if !fieldName(name) {
			// The key could be anything, even a name; it is not repeated.
			findings = append(findings, p.says("schema.unknown-field",
				p.subject()+" has a field whose name is none of the format's.", "Remove it."))
			continue
		}
		at := place{pointer: p.pointer + "/" + name, field: name}
		mend := "Remove it: the format has no such field here."
		if near := nearest(name, known); near != "" {
			mend = fmt.Sprintf("Did you mean %q? Otherwise remove it.", near)
		}
		findings = append(findings, at.says("schema.unknown-field", at.subject()+" is not a field of the format here.", mend))
	}
	return findings
}

// collect puts findings in the order of their pointers, drops repetitions and
// bounds their number.
func collect(findings []report.Finding) []report.Finding {
	sort.SliceStable(findings, func(i, j int) bool {
		if findings[i].Pointer != findings[j].Pointer {
			return pointerLess(findings[i].Pointer, findings[j].Pointer)
		}
		return findings[i].ID < findings[j].ID
	})
	kept := findings[:0]
	for i, f := range findings {
		if i > 0 && len(kept) > 0 && f == kept[len(kept)-1] {
			continue
		}
		kept = append(kept, f)
	}
	if len(kept) > MaxFindings {
		rest := len(kept) - MaxFindings
		kept = append(kept[:MaxFindings], report.Finding{
			ID: "document.more-findings", Severity: report.Error, Source: sourceFormat,
			Text: "There are " + strconv.Itoa(rest) + " more findings that are not listed.",
			Mend: "Correct those above first and send the document again.",
		})
	}
	return kept
}

// pointerLess orders pointers token by token, list indices by number.
func pointerLess(a, b string) bool {
	as, bs := strings.Split(a, "/"), strings.Split(b, "/")
	for i := 0; i < len(as) && i < len(bs); i++ {
		if as[i] == bs[i] {
			continue
		}
		m, errA := strconv.Atoi(as[i])
		n, errB := strconv.Atoi(bs[i])
		if errA == nil && errB == nil {
			return m < n
		}
		return as[i] < bs[i]
	}
	return len(as) < len(bs)
}

// cutLast splits a location into the schema and the keyword that failed.
func cutLast(location string) (schema, keyword string) {
	at := strings.LastIndexByte(location, '/')
	return location[:at], location[at+1:]
}

// pointerTokens reads the library's instance location, a JSON Pointer whose
// tokens are escaped for URLs besides.
func pointerTokens(location string) []string {
	if location == "" {
		return nil
	}
	tokens := strings.Split(location[1:], "/")
	for i, t := range tokens {
		if plain, err := url.PathUnescape(t); err == nil {
			t = plain
		}
		tokens[i] = strings.ReplaceAll(strings.ReplaceAll(t, "~1", "/"), "~0", "~")
	}
	return tokens
}

// resolve walks the tokens from the root of the document. The pointer holds
// only keys that are field names; known fields always are.
func resolve(tree any, tokens []string) (value any, pointer, field string) {
	value = tree
	for _, t := range tokens {
		switch v := value.(type) {
		case map[string]any:
			value, field = v[t], t
		case []any:
			i, err := strconv.Atoi(t)
			if err != nil || i >= len(v) {
				return nil, pointer, field
			}
			value = v[i]
		}
		pointer += "/" + t
	}
	return value, pointer, field
}

func lowerFirst(s string) string { return strings.ToLower(s[:1]) + s[1:] }
