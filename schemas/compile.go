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
}

// roots names the file that describes each kind of document.
var roots = map[string]string{
	report.SchemaReport:    "report.schema.json",
	report.SchemaHistology: "histology-part.schema.json",
	report.SchemaEvents:    "events-part.schema.json",
}

// compiled compiles the embedded schemas on first use: about 25 ms, once.
var compiled = sync.OnceValue(func() *rules {
	c := newCompiler()
	r := &rules{roots: map[string]*jsonschema.Schema{}, parts: map[string]*jsonschema.Schema{}}
	for kind, file := range roots {
		root := c.MustCompile(Base + version + "/" + file)
		r.roots[kind] = root
		r.index(root)
	}
	return r
})

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
	for _, p := range s.Properties {
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
