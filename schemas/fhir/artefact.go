package fhir

import (
	"cmp"
	"embed"
	"encoding/json"
	"fmt"
	"slices"
	"sync"

	"enbloc/mapping/term"
)

// Artefact is one published definition.
type Artefact struct {
	Type, ID string // FHIR type and id
	URL      string // canonical address
	Version  string
	// Kind and Of are StructureDefinition.kind and .type, "" for other types.
	Kind, Of string
	JSON     json.RawMessage
}

// Types are the FHIR types of the artefacts, in alphabetical order.
var Types = []string{"CodeSystem", "ConceptMap", "StructureDefinition", "ValueSet"}

//go:embed package/*.json
var compiled embed.FS

// sets are all artefacts, without and with what only the holder of a SNOMED CT
// licence may be shown.
var sets = [2]func() []Artefact{
	sync.OnceValue(func() []Artefact { return load(false) }),
	sync.OnceValue(func() []Artefact { return load(true) }),
}

// All lists the artefacts by type and id. Licensed says that the site holds a
// SNOMED CT licence: the ConceptMaps then name all SNOMED CT codes. Callers
// share the list and change nothing in it.
func All(licensed bool) []Artefact {
	if licensed {
		return sets[1]()
	}
	return sets[0]()
}

// Find returns an artefact by FHIR type and id.
func Find(resourceType, id string, licensed bool) (Artefact, bool) {
	all := All(licensed)
	i, ok := slices.BinarySearchFunc(all, Artefact{Type: resourceType, ID: id}, compare)
	if !ok {
		return Artefact{}, false
	}
	return all[i], true
}

func compare(a, b Artefact) int { return cmp.Or(cmp.Compare(a.Type, b.Type), cmp.Compare(a.ID, b.ID)) }

// load reads what is part of the program; a fault in it stops the program at
// the first use.
func load(licensed bool) []Artefact {
	resources := append([]json.RawMessage{term.CodeSystem(), reported()}, term.ValueSets()...)
	resources = append(resources, term.ConceptMaps(licensed)...)
	files, err := compiled.ReadDir("package")
	if err != nil {
		panic(fmt.Sprintf("fhir: listing the compiled artefacts: %v", err))
	}
	for _, f := range files {
		raw, err := compiled.ReadFile("package/" + f.Name())
		if err != nil {
			panic(fmt.Sprintf("fhir: reading %s: %v", f.Name(), err))
		}
		resources = append(resources, raw)
	}
	out := make([]Artefact, len(resources))
	for i, raw := range resources {
		var head struct{ ResourceType, ID, URL, Version, Kind, Type string }
		if err := json.Unmarshal(raw, &head); err != nil {
			panic(fmt.Sprintf("fhir: reading an artefact: %v", err))
		}
		out[i] = Artefact{Type: head.ResourceType, ID: head.ID, URL: head.URL, Version: head.Version,
			Kind: head.Kind, Of: head.Type, JSON: raw}
	}
	slices.SortFunc(out, compare)
	return out
}
