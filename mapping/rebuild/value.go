package rebuild

import (
	"encoding/json"
	"strings"
	"sync"

	"enbloc/mapping/term"
	"enbloc/schemas"
)

// spellings turns the slug of a value back into the value that the document
// format has: "0-iia" into "0-IIa". The format's own lists of values are the
// source.
var spellings = sync.OnceValue(func() map[string]string {
	out := map[string]string{}
	for _, file := range schemas.Files() {
		var tree any
		if json.Unmarshal(file.Body, &tree) == nil {
			collect(tree, out)
		}
	}
	return out
})

func collect(tree any, into map[string]string) {
	switch n := tree.(type) {
	case map[string]any:
		values, _ := n["enum"].([]any)
		for _, v := range values {
			if s, ok := v.(string); ok {
				into[term.Slug(s)] = s
			}
		}
		for _, child := range n {
			collect(child, into)
		}
	case []any:
		for _, child := range n {
			collect(child, into)
		}
	}
}

// groups tells the group of each of our codes.
var groups = sync.OnceValue(func() map[string]string {
	out := map[string]string{}
	for _, c := range term.Concepts() {
		out[c.Code] = c.Group
	}
	return out
})

// code is our own code in a concept, "" when it has none.
func code(concept node) string {
	for _, c := range concept.list("coding") {
		if c.text("system") == term.System {
			return c.text("code")
		}
	}
	return ""
}

// meaning is the value of the report that a concept stands for.
func meaning(concept node) string {
	own := code(concept)
	if own == "" {
		return answer(concept)
	}
	// The class of an earlier resection is an answer of the rule for it.
	slug := strings.TrimPrefix(strings.TrimPrefix(own, groups()[own]+"-"), "ecura-")
	if value, ok := spellings()[slug]; ok {
		return value
	}
	return slug
}

// answer is yes or no in the standard's codes.
func answer(concept node) string {
	for key, value := range map[string]string{"adm.yes": "yes", "adm.no": "no"} {
		c, _ := term.Lookup(key)
		for _, coding := range concept.list("coding") {
			if coding.text("system") == c.System && coding.text("code") == c.Code {
				return value
			}
		}
	}
	return ""
}

// absences are the stated reasons for a missing value
// (http://hl7.org/fhir/R4/codesystem-data-absent-reason.html).
var absences = map[string]string{"unknown": "unknown", "not-performed": "not-assessed", "not-applicable": "not-applicable"}

// said is what an Observation or a component says: a json.Number, a value of
// the report, a date, words, a stated absence; nil when it says nothing.
func said(n node) any {
	if value := n.in("valueQuantity")["value"]; value != nil {
		return value
	}
	if concept := n.in("valueCodeableConcept"); len(concept) > 0 {
		if m := meaning(concept); m != "" {
			return m
		}
		return nil
	}
	for _, member := range []string{"valueDateTime", "valueString"} {
		if text := n.text(member); text != "" {
			return text
		}
	}
	for _, reason := range n.in("dataAbsentReason").list("coding") {
		if absence := absences[reason.text("code")]; absence != "" {
			return absence
		}
	}
	return nil
}

// put writes a value under a path of members, and nothing when there is none.
func put(into map[string]any, path string, value any) {
	if value == nil || value == "" {
		return
	}
	steps := strings.Split(path, "/")
	for _, step := range steps[:len(steps)-1] {
		child, ok := into[step].(map[string]any)
		if !ok {
			child = map[string]any{}
			into[step] = child
		}
		into = child
	}
	last := steps[len(steps)-1]
	if name, many := strings.CutSuffix(last, "[]"); many {
		had, _ := into[name].([]any)
		into[name] = append(had, value)
		return
	}
	into[last] = value
}
