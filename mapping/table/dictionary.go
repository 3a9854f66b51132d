package table

import (
	"bytes"
	"encoding/json"
)

// field is one column in the words of the Frictionless Table Schema. Unit and
// source are properties of our own, which the standard allows.
type field struct {
	Name        string         `json:"name"`
	Type        Type           `json:"type"`
	Description string         `json:"description"`
	Unit        string         `json:"unit,omitempty"`
	Source      string         `json:"source"`
	Constraints map[string]any `json:"constraints,omitempty"`
}

type schema struct {
	Fields        []field  `json:"fields"`
	PrimaryKey    []string `json:"primaryKey"`
	MissingValues []string `json:"missingValues"`
}

type resource struct {
	Name        string            `json:"name"`
	Title       string            `json:"title"`
	Description string            `json:"description"`
	Path        string            `json:"path"`
	Profile     string            `json:"profile"`
	Format      string            `json:"format"`
	MediaType   string            `json:"mediatype"`
	Encoding    string            `json:"encoding"`
	Dialect     map[string]string `json:"dialect"`
	Schema      string            `json:"schema"`
}

const absences = "An empty cell means not reported. unknown, not-assessed and not-applicable are stated absences. " +
	"cannot-be-assessed is a result of looking. none-recorded says that no event is on record, not that none happened. None of them means no."

// SchemaName is the name of the file that [Schema] goes into.
func (t *Table) SchemaName() string { return t.Name + ".schema.json" }

// Schema is the data dictionary of the table: a Frictionless Table Schema
// (https://specs.frictionlessdata.io/table-schema/).
func (t *Table) Schema() ([]byte, error) {
	s := schema{MissingValues: []string{""}}
	for _, c := range t.Columns {
		f := field{Name: c.Name, Type: c.Type, Description: c.Description, Unit: c.Unit, Source: c.Source}
		if c.Required {
			f.Constraints = map[string]any{"required": true}
		}
		if c.Key {
			s.PrimaryKey = append(s.PrimaryKey, c.Name)
		}
		s.Fields = append(s.Fields, f)
	}
	return indented(s)
}

// Part is one CSV file of a table.
type Part struct {
	Table *Table
	Name  string // name of the resource, lower case
	Path  string // relative to the package
}

// Package describes the CSV files of an export: a Frictionless Data Package
// (https://specs.frictionlessdata.io/data-package/). The Parquet files beside
// them hold the same columns.
func Package(parts []Part) ([]byte, error) {
	resources := make([]resource, len(parts))
	for i, p := range parts {
		resources[i] = resource{
			Name: p.Name, Title: p.Table.Title, Description: p.Table.Description + " " + absences,
			Path: p.Path, Profile: "tabular-data-resource", Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
			Dialect: map[string]string{"lineTerminator": "\n"}, Schema: p.Table.SchemaName(),
		}
	}
	return indented(map[string]any{"name": "enbloc-tables", "profile": "tabular-data-package", "resources": resources})
}

func indented(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	err := e.Encode(v)
	return b.Bytes(), err
}
