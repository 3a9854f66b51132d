package term

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// Version is the version of our own CodeSystem, ValueSets and ConceptMaps. It
// rises with every change of concepts.tsv.
const Version = "0.1.0"

// header is what our terminology resources have in common. Field order is the
// order on the wire.
type header struct {
	ResourceType string `json:"resourceType"`
	ID           string `json:"id"`
	URL          string `json:"url"`
	Version      string `json:"version"`
	Name         string `json:"name"`
	Title        string `json:"title"`
	Status       string `json:"status"`
	Experimental bool   `json:"experimental"`
	Publisher    string `json:"publisher"`
	Description  string `json:"description"`
	Copyright    string `json:"copyright,omitempty"`
}

func newHeader(resourceType, id, name, title, description string) header {
	return header{ResourceType: resourceType, ID: id, URL: Base + "/" + resourceType + "/" + id,
		Version: Version, Name: name, Title: title, Status: "draft", Experimental: false,
		Publisher: "enbloc", Description: description}
}

type csProperty struct {
	Code        string `json:"code"`
	Description string `json:"description"`
	Type        string `json:"type"`
}

type csValue struct {
	Code  string `json:"code"`
	Value string `json:"valueCode"`
}

type csConcept struct {
	Code       string    `json:"code"`
	Display    string    `json:"display"`
	Definition string    `json:"definition"`
	Property   []csValue `json:"property"`
}

type codeSystem struct {
	header
	CaseSensitive bool         `json:"caseSensitive"`
	ValueSet      string       `json:"valueSet"`
	Compositional bool         `json:"compositional"`
	VersionNeeded bool         `json:"versionNeeded"`
	Content       string       `json:"content"`
	Count         int          `json:"count"`
	Property      []csProperty `json:"property"`
	Concept       []csConcept  `json:"concept"`
}

// CodeSystem returns our own concepts as a FHIR R4 CodeSystem.
func CodeSystem() json.RawMessage {
	cs := codeSystem{
		header: newHeader("CodeSystem", "enbloc", "EnblocConcepts", "Concepts of endoscopic resection",
			"Concepts for which no standard code could be confirmed. The property group names the value set that holds a concept."),
		CaseSensitive: true, ValueSet: Base + "/ValueSet/enbloc-all", Content: "complete", Count: len(Concepts()),
		Property: []csProperty{{"group", "Value set that holds the concept", "code"}},
	}
	for _, c := range Concepts() {
		cs.Concept = append(cs.Concept, csConcept{c.Code, c.Display, c.Definition, []csValue{{"group", c.Group}}})
	}
	return encode(cs)
}

type vsConcept struct {
	Code    string `json:"code"`
	Display string `json:"display"`
}

type vsInclude struct {
	System  string      `json:"system"`
	Concept []vsConcept `json:"concept,omitempty"`
}

type valueSet struct {
	header
	Compose struct {
		Include []vsInclude `json:"include"`
	} `json:"compose"`
}

// ValueSets returns one FHIR R4 ValueSet of all our concepts and one per group.
func ValueSets() []json.RawMessage {
	all := valueSet{header: newHeader("ValueSet", "enbloc-all", "EnblocAll",
		"All concepts of endoscopic resection", "All concepts of the code system.")}
	all.Compose.Include = []vsInclude{{System: System}}
	out := []json.RawMessage{encode(all)}
	for _, group := range Groups() {
		vs := valueSet{header: newHeader("ValueSet", "enbloc-"+group, "Enbloc"+camel(group),
			"Concepts of group "+group, "The concepts that group "+group+" holds.")}
		include := vsInclude{System: System}
		for _, c := range Concepts() {
			if c.Group == group {
				include.Concept = append(include.Concept, vsConcept{c.Code, c.Display})
			}
		}
		vs.Compose.Include = []vsInclude{include}
		out = append(out, encode(vs))
	}
	return out
}

type cmTarget struct {
	Code        string `json:"code"`
	Display     string `json:"display,omitempty"`
	Equivalence string `json:"equivalence"`
}

type cmElement struct {
	Code    string     `json:"code"`
	Display string     `json:"display"`
	Target  []cmTarget `json:"target"`
}

type cmGroup struct {
	Source  string      `json:"source"`
	Target  string      `json:"target"`
	Element []cmElement `json:"element"`
}

type conceptMap struct {
	header
	SourceURI string    `json:"sourceUri"`
	Group     []cmGroup `json:"group"`
}

// ConceptMaps returns one FHIR R4 ConceptMap per standard code system, from
// our concepts to the codes that mean the same or more. Licensed says whether
// SNOMED CT codes outside the Global Patient Set may be shown.
func ConceptMaps(licensed bool) []json.RawMessage {
	var systems []string
	groups := map[string]*cmGroup{}
	for _, c := range Concepts() {
		for system, targets := range targetsOf(c, licensed) {
			if groups[system] == nil {
				groups[system] = &cmGroup{Source: System, Target: system}
			}
			groups[system].Element = append(groups[system].Element, cmElement{c.Code, c.Display, targets})
		}
	}
	for _, c := range Codes() { // the order of the table, so that the output is stable
		if groups[c.System] != nil && !slices.Contains(systems, c.System) {
			systems = append(systems, c.System)
		}
	}
	var out []json.RawMessage
	for _, system := range systems {
		id := "enbloc-to-" + Slug(system[strings.LastIndexByte(system, '/')+1:])
		cm := conceptMap{header: newHeader("ConceptMap", id, "Enbloc"+camel(id), "Concepts of endoscopic resection to "+system,
			"Standard codes that mean the same as our concepts, or more."), SourceURI: Base + "/ValueSet/enbloc-all",
			Group: []cmGroup{*groups[system]}}
		switch system {
		case "http://snomed.info/sct":
			cm.Copyright = NoticeSNOMED
		case "http://loinc.org":
			cm.Copyright = NoticeLOINC
		}
		out = append(out, encode(cm))
	}
	return out
}

// targetsOf groups the standard codes of a concept by system, leaving out those
// that need a licence where there is none.
func targetsOf(c Concept, licensed bool) map[string][]cmTarget {
	out := map[string][]cmTarget{}
	for _, s := range c.Standards {
		if s.Code.Licence == SNOMEDLicensed && !licensed {
			continue
		}
		out[s.Code.System] = append(out[s.Code.System], cmTarget{s.Code.Code, s.Code.Display, string(s.Relation)})
	}
	return out
}

// camel turns "drug-class" into "DrugClass", as FHIR wants names.
func camel(s string) string {
	var b strings.Builder
	for _, part := range strings.Split(s, "-") {
		if part != "" {
			b.WriteString(strings.ToUpper(part[:1]) + part[1:])
		}
	}
	return b.String()
}

func encode(v any) json.RawMessage {
	b, err := json.Marshal(v)
	if err != nil { // strings and numbers only
		panic(fmt.Sprintf("term: encoding %T: %v", v, err))
	}
	return b
}
