package schemas

import (
	"bytes"
	"fmt"
	"io"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"enbloc/mapping/report"
)

// rules are the compiled schemas, and every part of them by its location.
type rules struct {
	roots map[string]*jsonschema.Schema // by schema identifier of the document
	parts map[string]*jsonschema.Schema // by absolute location
	// descriptions of fields by the location of their object, "/" and name.
	descriptions map[string]string
}

// roots names the file that describes each kind of document.
var roots = map[string]string{
	report.SchemaReport:    "report.schema.json",
	report.SchemaHistology: "histology-part.schema.json",
	report.SchemaEvents:    "events-part.schema.json",
}

// compiled compiles the embedded schemas on first use: about 25 ms, once.
var compiled = sync.OnceValue(func() *rules {
	r := newRules()
	r.shorten()
	return r
})

// newRules compiles the schemas as they are written.
func newRules() *rules {
	c := newCompiler()
	r := &rules{
		roots:        map[string]*jsonschema.Schema{},
		parts:        map[string]*jsonschema.Schema{},
		descriptions: map[string]string{},
	}
	for kind, file := range roots {
		root := c.MustCompile(Base + version + "/" + file)
		r.roots[kind] = root
		r.index(root)
	}
	return r
}

// newCompiler returns a compiler that knows the embedded schemas and nothing
// else: no $ref is ever fetched.
func newCompiler() *jsonschema.Compiler {
	c := jsonschema.NewCompiler()
	c.Draft = jsonschema.Draft2020
	c.ExtractAnnotations = true // descriptions become mends
	c.AssertFormat = true
	// The library admits leap seconds, which time.Time does not hold.
	c.Formats["date-time"] = isTime
	c.LoadURL = func(url string) (io.ReadCloser, error) {
		return nil, fmt.Errorf("loading schema %s: not embedded", url)
	}
	for _, f := range Files() {
		if err := c.AddResource(f.ID(), bytes.NewReader(f.Body)); err != nil {
			panic("reading embedded schema: " + err.Error())
		}
	}
	return c
}

// isTime is the format "date-time" as mapping/report reads it.
func isTime(v any) bool {
	text, ok := v.(string)
	if !ok {
		return true
	}
	_, err := report.ParseTime(text)
	return err == nil
}

// index enters a schema and what it is made of.
func (r *rules) index(s *jsonschema.Schema) {
	if s == nil || r.parts[s.Location] != nil {
		return
	}
	r.parts[s.Location] = s
	r.index(s.Ref)
	r.index(s.Items2020)
	r.index(s.UnevaluatedProperties)
	for name, p := range s.Properties {
		r.descriptions[s.Location+"/"+name] = p.Description
		r.index(p)
	}
	for _, a := range s.AnyOf {
		r.index(a)
	}
}

// fieldsOf returns the fields that an object of this schema may have, its own
// and those of the schema it builds on.
func fieldsOf(s *jsonschema.Schema) map[string]*jsonschema.Schema {
	if s.Ref == nil {
		return s.Properties
	}
	all := map[string]*jsonschema.Schema{}
	for base := s; base != nil; base = base.Ref {
		for name, p := range base.Properties {
			all[name] = p
		}
	}
	return all
}

// shorten lets every field and list that only refers to another schema point
// at that schema itself. It means the same and saves the library a step for
// most values: about a third of its time.
func (r *rules) shorten() {
	for _, s := range r.parts {
		for name, p := range s.Properties {
			s.Properties[name] = target(p)
		}
		if s.Items2020 != nil {
			s.Items2020 = target(s.Items2020)
		}
	}
}

// target follows a schema that says nothing but "as over there".
func target(s *jsonschema.Schema) *jsonschema.Schema {
	bounded := s.Minimum != nil || s.ExclusiveMinimum != nil || s.Maximum != nil || s.ExclusiveMaximum != nil || s.MultipleOf != nil
	shaped := len(s.Types) > 0 || len(s.Enum) > 0 || len(s.Constant) > 0 || len(s.Properties) > 0 || len(s.Required) > 0 ||
		len(s.AnyOf) > 0 || s.Items2020 != nil || s.Pattern != nil || s.UnevaluatedProperties != nil || s.AdditionalProperties != nil
	if s.Ref == nil || bounded || shaped {
		return s
	}
	return s.Ref
}

// describe is what the format says about a field of an object.
func (r *rules) describe(object *jsonschema.Schema, name string) string {
	for base := object; base != nil; base = base.Ref {
		if text := r.descriptions[base.Location+"/"+name]; text != "" {
			return text
		}
	}
	return ""
}
