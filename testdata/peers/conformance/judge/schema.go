package judge

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// schemaURL is the id that the official R4 JSON Schema gives itself.
const schemaURL = "http://hl7.org/fhir/json-schema/4.0"

// Schema checks every resource against the official FHIR R4 JSON Schema (draft-06) in the file at path.
//
// Each resource goes to the definition of its own type. The schema's root would try all types for each entry, which
// takes fifty times as long and ends in an error that names no place.
func Schema(path string) (Judge, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("opening the R4 schema: %w", err)
	}
	defer file.Close()
	compiler := jsonschema.NewCompiler()
	compiler.Draft = jsonschema.Draft6
	if err := compiler.AddResource(schemaURL, file); err != nil {
		return nil, fmt.Errorf("reading the R4 schema: %w", err)
	}
	types := definitions{compiler: compiler, compiled: map[string]*jsonschema.Schema{}}
	if _, err := types.of("Bundle"); err != nil {
		return nil, err
	}
	return types.judge, nil
}

// definitions compiles the definition of a type when the type is first met.
type definitions struct {
	compiler *jsonschema.Compiler
	compiled map[string]*jsonschema.Schema
}

func (d definitions) of(resourceType string) (*jsonschema.Schema, error) {
	if schema := d.compiled[resourceType]; schema != nil {
		return schema, nil
	}
	schema, err := d.compiler.Compile(schemaURL + "#/definitions/" + resourceType)
	if err != nil {
		return nil, fmt.Errorf("compiling the definition of %q: %w", resourceType, err)
	}
	d.compiled[resourceType] = schema
	return schema, nil
}

func (d definitions) judge(bundle []byte) []string {
	decoder := json.NewDecoder(strings.NewReader(string(bundle)))
	decoder.UseNumber()
	var root map[string]any
	if err := decoder.Decode(&root); err != nil {
		return []string{err.Error()}
	}
	return d.resource(root, "")
}

// resource judges the resource at a JSON Pointer, and those inside it apart from it.
func (d definitions) resource(resource map[string]any, at string) []string {
	faults := d.takeOut(resource, "contained", at, func(item any) (any, string) { return item, "" })
	faults = append(faults, d.takeOut(resource, "entry", at, func(item any) (any, string) {
		entry, ok := item.(map[string]any)
		if !ok {
			return nil, ""
		}
		inner := entry["resource"]
		delete(entry, "resource")
		return inner, "/resource"
	})...)
	delete(resource, "contained")

	resourceType, _ := resource["resourceType"].(string)
	schema, err := d.of(resourceType)
	if err != nil {
		return append(faults, at+": "+err.Error())
	}
	return append(faults, messages(schema.Validate(resource), at)...)
}

// takeOut judges the resources in a list of the resource and takes them from it.
func (d definitions) takeOut(resource map[string]any, list, at string, inner func(any) (any, string)) []string {
	var faults []string
	items, _ := resource[list].([]any)
	for i, item := range items {
		found, below := inner(item)
		if found, ok := found.(map[string]any); ok {
			faults = append(faults, d.resource(found, at+"/"+list+"/"+strconv.Itoa(i)+below)...)
		}
	}
	return faults
}

// messages are the innermost causes of a schema error, each with its JSON Pointer.
func messages(err error, at string) []string {
	if err == nil {
		return nil
	}
	var invalid *jsonschema.ValidationError
	if !errors.As(err, &invalid) {
		return []string{at + ": " + err.Error()}
	}
	var faults []string
	for _, cause := range invalid.BasicOutput().Errors {
		if cause.Error != "" && !strings.HasPrefix(cause.Error, "doesn't validate with") {
			faults = append(faults, at+cause.InstanceLocation+": "+cause.Error)
		}
	}
	return faults
}
