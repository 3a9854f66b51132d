package schemas

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v5"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// The Go types and the schemas say the same thing twice. These tests walk both
// and demand that they agree in both directions: fields, which of them are
// required, lists, and every word of every enumeration.

// vocabulary is what the source of mapping/report says of its string types:
// the values of their constants, and whether the type's comment admits absence.
type vocabulary struct {
	values map[string][]string
	absent map[string]bool
}

func readVocabulary(t *testing.T) vocabulary {
	t.Helper()
	set := token.NewFileSet()
	names, err := filepath.Glob("../mapping/report/*.go")
	require.NoError(t, err)
	v := vocabulary{map[string][]string{}, map[string]bool{}}
	for _, name := range names {
		file, err := parser.ParseFile(set, name, nil, parser.ParseComments)
		require.NoError(t, err)
		for _, d := range file.Decls {
			if g, ok := d.(*ast.GenDecl); ok {
				v.enter(t, g)
			}
		}
	}
	require.Contains(t, v.values["Organ"], "stomach")
	return v
}

func (v vocabulary) enter(t *testing.T, g *ast.GenDecl) {
	for _, s := range g.Specs {
		switch s := s.(type) {
		case *ast.TypeSpec:
			text := strings.Join(strings.Fields(g.Doc.Text()), " ")
			v.absent[s.Name.Name] = strings.Contains(text, "may also be a kind of absence")
		case *ast.ValueSpec:
			named, ok := s.Type.(*ast.Ident)
			if !ok {
				continue
			}
			for _, value := range s.Values {
				if literal, ok := value.(*ast.BasicLit); ok && literal.Kind == token.STRING {
					word, err := strconv.Unquote(literal.Value)
					require.NoError(t, err)
					v.values[named.Name] = append(v.values[named.Name], word)
				}
			}
		}
	}
}

// words is what a schema may admit for a type.
func (v vocabulary) words(name string) []string {
	words := append([]string{}, v.values[name]...)
	if v.absent[name] {
		for _, a := range report.Absences {
			words = append(words, string(a))
		}
	}
	sort.Strings(words)
	return words
}

// field is a field of a Go struct as JSON names it.
type field struct {
	name     string
	required bool
	of       reflect.Type
}

// fieldsIn lists the JSON fields of a struct, embedded ones included.
func fieldsIn(t reflect.Type) []field {
	var list []field
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			list = append(list, fieldsIn(f.Type)...)
			continue
		}
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		list = append(list, field{name, options == "", f.Type})
	}
	return list
}

func TestTypesAndSchemasAgree(t *testing.T) {
	t.Parallel()
	v := readVocabulary(t)
	used := map[string]bool{}
	asWritten := newRules()
	for kind, of := range map[string]any{
		report.SchemaReport: report.Report{}, report.SchemaHistology: report.HistologyPart{}, report.SchemaEvents: report.EventsPart{},
	} {
		agreeObject(t, v, used, reflect.TypeOf(of), asWritten.roots[kind])
	}
	for name := range v.values {
		if name != "Severity" && name != "Absence" { // of findings, not of documents
			require.True(t, used[name], "no schema uses the enumeration %s", name)
		}
	}
}

func agreeObject(t *testing.T, v vocabulary, used map[string]bool, goType reflect.Type, s *jsonschema.Schema) {
	properties := fieldsOf(s)
	var required []string
	for base := s; base != nil; base = base.Ref {
		required = append(required, base.Required...)
	}
	inGo := map[string]bool{}
	for _, f := range fieldsIn(goType) {
		inGo[f.name] = true
		property := properties[f.name]
		require.NotNil(t, property, "%s.%s is not in the schema %s", goType, f.name, s.Location)
		require.Equal(t, f.required, contains(required, f.name), "%s.%s: required?", goType, f.name)
		if f.name != "schema" {
			agreeValue(t, v, used, f.of, property)
		}
	}
	for name, property := range properties {
		require.True(t, inGo[name], "the schema field %s is not in %s", name, goType)
		require.NotEmpty(t, property.Description, "%s of %s has no description", name, s.Location)
	}
}

func agreeValue(t *testing.T, v vocabulary, used map[string]bool, goType reflect.Type, s *jsonschema.Schema) {
	for goType.Kind() == reflect.Pointer {
		goType = goType.Elem()
	}
	for s.Ref != nil && s.Enum == nil && len(s.Properties) == 0 && s.Items2020 == nil {
		s = s.Ref
	}
	switch {
	case goType.Kind() == reflect.Slice:
		require.Equal(t, []string{"array"}, s.Types, s.Location)
		require.Positive(t, s.MaxItems, "%s has no bound", s.Location)
		agreeValue(t, v, used, goType.Elem(), s.Items2020)
	case goType == reflect.TypeOf(report.Number{}):
		require.Equal(t, common+"number", s.Location)
	case goType == reflect.TypeOf(report.Time{}):
		require.Equal(t, common+"time", s.Location)
	case goType == reflect.TypeOf(report.Date("")):
		require.Equal(t, common+"date", s.Location)
	case goType.Kind() == reflect.Struct:
		agreeObject(t, v, used, goType, s)
	case goType.Kind() == reflect.String && goType.Name() != "string":
		used[goType.Name()] = true
		require.Equal(t, v.words(goType.Name()), enumOf(s), "%s and %s", goType, s.Location)
	case goType.Kind() == reflect.String:
		require.Equal(t, []string{"string"}, s.Types, s.Location)
		require.Positive(t, s.MaxLength, "%s has no bound", s.Location)
	case goType.Kind() == reflect.Int:
		require.Equal(t, []string{"integer"}, s.Types, s.Location)
	case goType.Kind() == reflect.Bool:
		require.Equal(t, []string{"boolean"}, s.Types, s.Location)
	default:
		t.Fatalf("%s has a kind that this test does not know", goType)
	}
}

func enumOf(s *jsonschema.Schema) []string {
	words := []string{}
	for _, w := range s.Enum {
		words = append(words, w.(string))
	}
	sort.Strings(words)
	return words
}

func contains(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

// Every number has bounds in its unit, except that the unit-free ones have
// bounds too: 10 km is no size of a lesion.
func TestEveryNumberHasBounds(t *testing.T) {
	t.Parallel()
	for location, s := range newRules().parts {
		if s.Ref != nil && s.Ref.Location == common+"number" {
			require.True(t, s.Minimum != nil || s.ExclusiveMinimum != nil, location)
			require.NotNil(t, s.Maximum, location)
		}
	}
}

// Conditional schemas fail without naming a field; conditions between fields
// belong to mapping/check.
func TestFilesAreWellMade(t *testing.T) {
	t.Parallel()
	require.Len(t, Files(), 16)
	for _, f := range Files() {
		var doc map[string]any
		require.NoError(t, json.Unmarshal(f.Body, &doc))
		require.Equal(t, f.ID(), doc["$id"])
		require.Equal(t, "https://json-schema.org/draft/2020-12/schema", doc["$schema"])
		require.NotEmpty(t, doc["title"], f.Path)
		delete(doc, "unevaluatedProperties") // only a whole document may build on another schema
		isRoot := doc["$ref"] != nil
		walk(doc, func(object map[string]any) {
			require.NotContains(t, object, "unevaluatedProperties", f.Path)
			for _, keyword := range []string{"if", "then", "else"} {
				require.NotContains(t, object, keyword, f.Path)
			}
			if _, isObject := object["properties"]; isObject && object["type"] == "object" {
				closed := object["additionalProperties"] == false || isRoot
				base := strings.HasSuffix(f.Path, "envelope.schema.json") || strings.HasSuffix(f.Path, "/part.schema.json")
				require.True(t, closed || base, "%s: an object admits unknown fields", f.Path)
			}
		})
		served, found := Lookup(f.Path)
		require.True(t, found)
		require.Equal(t, f, served)
	}
	for _, path := range []string{"", "report/1/", "report/1/../v1/report.schema.json", "report/2/report.schema.json", "report/1/none.json"} {
		_, found := Lookup(path)
		require.False(t, found, path)
	}
}

func walk(node any, visit func(map[string]any)) {
	switch v := node.(type) {
	case map[string]any:
		visit(v)
		for key, child := range v {
			if key != "examples" {
				walk(child, visit)
			}
		}
	case []any:
		for _, child := range v {
			walk(child, visit)
		}
	}
}

// Every example in a schema is valid by it.
func TestExamplesAreValid(t *testing.T) {
	t.Parallel()
	for _, f := range Files() {
		var doc struct {
			Examples []json.RawMessage `json:"examples"`
		}
		require.NoError(t, json.Unmarshal(f.Body, &doc))
		if strings.HasSuffix(f.Path, "common.schema.json") {
			continue // holds definitions only
		}
		require.NotEmpty(t, doc.Examples, f.Path)
		compiler := newCompiler()
		schema, err := compiler.Compile(f.ID())
		require.NoError(t, err)
		for _, example := range doc.Examples {
			s, tree := scan(example)
			require.Empty(t, s.findings)
			require.NoError(t, schema.Validate(tree), f.Path)
		}
	}
}

// Shortening the compiled schemas changes no verdict.
func TestShortenedRulesMeanTheSame(t *testing.T) {
	t.Parallel()
	asWritten := newRules()
	for _, pattern := range []string{"testdata/*.json", invalidFolder + "*.json"} {
		names, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, name := range names {
			raw, err := os.ReadFile(name)
			require.NoError(t, err)
			s, tree := scan(raw)
			if Malformed(s.findings) {
				continue
			}
			for kind, short := range compiled().roots {
				long := asWritten.roots[kind].Validate(tree)
				require.Equal(t, long == nil, short.Validate(tree) == nil, "%s as %s", name, kind)
			}
		}
	}
}
