package fhir

import (
	"encoding/json"
	"fmt"
	"strings"

	"enbloc/mapping/assess"
	"enbloc/mapping/term"
	"enbloc/schemas"
)

// Reported is the id of the CodeSystem supplement that says, for each concept
// that stands for a value of a report or for a rule, how the report spells the
// value or what the rule is called. Who lays records flat needs it: a code is
// the value in lower case.
const Reported = "enbloc-reported"

type supplement struct {
	ResourceType string     `json:"resourceType"`
	ID           string     `json:"id"`
	URL          string     `json:"url"`
	Version      string     `json:"version"`
	Name         string     `json:"name"`
	Title        string     `json:"title"`
	Status       string     `json:"status"`
	Experimental bool       `json:"experimental"`
	Publisher    string     `json:"publisher"`
	Description  string     `json:"description"`
	Content      string     `json:"content"`
	Supplements  string     `json:"supplements"`
	Property     []property `json:"property"`
	Concept      []supplied `json:"concept"`
}

type property struct {
	Code        string `json:"code"`
	Description string `json:"description"`
	Type        string `json:"type"`
}

type supplied struct {
	Code     string          `json:"code"`
	Property []propertyValue `json:"property"`
}

type propertyValue struct {
	Code  string `json:"code"`
	Value string `json:"valueString"`
}

// reported makes the supplement from the format's own lists of values and from
// the rules.
func reported() json.RawMessage {
	s := supplement{ResourceType: "CodeSystem", ID: Reported, URL: term.Base + "/CodeSystem/" + Reported, Version: term.Version,
		Name: "EnblocReported", Title: "Concepts of endoscopic resection as the report spells them", Status: "draft", Publisher: "enbloc",
		Description: "How the document format spells the value that a concept stands for, or the id of the rule whose answer it names.",
		Content:     "supplement", Supplements: term.System,
		Property: []property{{"reported", "Value of the report, or id of the rule", "string"}}}
	values := map[string]string{}
	for _, f := range schemas.Files() {
		var tree any
		if err := json.Unmarshal(f.Body, &tree); err != nil {
			panic(fmt.Sprintf("fhir: reading %s: %v", f.Path, err))
		}
		collectValues(tree, values)
	}
	rules := map[string]string{}
	for _, r := range assess.DefaultBook().Print().Rules {
		rules[term.Slug(r.Rule)] = r.Rule
	}
	for _, c := range term.Concepts() {
		name := strings.TrimPrefix(c.Code, c.Group+"-")
		value, known := values[name]
		switch {
		case c.Group == "derived":
			value, known = rules[name]
		case c.Group == "mark": // of rules: no value of a report
			value, known = name, true
		case c.Group == "answer": // of one rule each
			value, known = classes[c.Code]
		}
		if known {
			s.Concept = append(s.Concept, supplied{c.Code, []propertyValue{{"reported", value}}})
		}
	}
	return encode(s)
}

// classes are the answers that are coded, as their rules give them.
var classes = map[string]string{
	"severity-mild": "mild", "severity-moderate": "moderate", "severity-severe": "severe", "severity-fatal": "fatal",
	"agree-none": "none", "agree-i": "I", "agree-ii": "II", "agree-iiia": "IIIa", "agree-iiib": "IIIb", "agree-iva": "IVa", "agree-ivb": "IVb", "agree-v": "V",
	"ecura-a": "eCuraA", "ecura-b": "eCuraB", "ecura-c-1": "eCuraC-1", "ecura-c-2": "eCuraC-2",
}

func collectValues(tree any, into map[string]string) {
	switch n := tree.(type) {
	case map[string]any:
		values, _ := n["enum"].([]any)
		for _, v := range values {
			if text, ok := v.(string); ok {
				into[term.Slug(text)] = text
			}
		}
		for _, child := range n {
			collectValues(child, into)
		}
	case []any:
		for _, child := range n {
			collectValues(child, into)
		}
	}
}

func encode(v any) json.RawMessage {
	b, err := json.Marshal(v)
	if err != nil { // strings only
		panic(fmt.Sprintf("fhir: encoding %T: %v", v, err))
	}
	return b
}
