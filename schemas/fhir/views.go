package fhir

import (
	"embed"
	"fmt"
)

//go:embed views/*
var viewFiles embed.FS

// View is one file of those that lay a record flat.
type View struct {
	Name string // "enbloc_place.json", "lesion.sql", "README.md"
	Body []byte
}

// Views are the SQL-on-FHIR ViewDefinitions (https://sql-on-fhir.org/ig/2.0.0/)
// that lay stored records flat, and the SQL that makes of their rows the tables
// that enbloc exports. They are files and no R4 resources: a server of R4 knows
// no ViewDefinition.
func Views() []View {
	entries, err := viewFiles.ReadDir("views")
	if err != nil {
		panic(fmt.Sprintf("fhir: listing the views: %v", err))
	}
	out := make([]View, len(entries))
	for i, e := range entries {
		body, err := viewFiles.ReadFile("views/" + e.Name())
		if err != nil {
			panic(fmt.Sprintf("fhir: reading %s: %v", e.Name(), err))
		}
		out[i] = View{e.Name(), body}
	}
	return out
}
