// Package whatif changes single values of a report, so that the answers of the
// rules can be laid side by side: what if the invasion were 650 µm deep?
//
// A change is written as path=value. The path names a lesion by its number
// ("lesion/1/histology/depth_um") or an event by its id ("event/E1/outcome");
// any other path is a JSON Pointer without its first slash ("before/inr"). The
// value is JSON (650, "BD2", ["0-IIa","0-IIc"]); what is no JSON is taken as
// text (BD2), and an empty value removes the field: as if it had been left out.
//
// The changed document is a document like any other: it has to be decoded and
// checked before it is assessed, and it is never stored. [Pairs] then sets the
// answers before and after side by side.
package whatif

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// Most is how many changes one question may have.
const Most = 50

// Apply returns the document with the changes made, in their order. A change
// that cannot be made is a finding whose pointer names the change
// ("/changes/0"); the document is nil then.
func Apply(raw []byte, changes []string) ([]byte, []report.Finding) {
	if len(changes) == 0 || len(changes) > Most {
		return nil, []report.Finding{finding("/changes", "There is no change, or more than "+strconv.Itoa(Most)+".",
			"Write one to "+strconv.Itoa(Most)+" changes as path=value.")}
	}
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.UseNumber()
	var document any
	if err := decoder.Decode(&document); err != nil {
		return nil, []report.Finding{finding("", "The document is no JSON.", "Send a report.")}
	}
	var findings []report.Finding
	for i, change := range changes {
		var err error
		if document, err = apply(document, change); err != nil {
			findings = append(findings, finding("/changes/"+strconv.Itoa(i), "The change cannot be made: "+err.Error()+".",
				"Write path=value, such as lesion/1/histology/depth_um=650."))
		}
	}
	if len(findings) > 0 {
		return nil, findings
	}
	out, err := json.Marshal(document)
	if err != nil {
		return nil, []report.Finding{finding("", "The changed document cannot be written.", "Check the values of the changes.")}
	}
	return out, nil
}

func finding(pointer, text, mend string) report.Finding {
	return report.Finding{ID: "what-if.change", Severity: report.Error, Pointer: pointer, Text: text, Mend: mend,
		Source: "format of a change: path=value"}
}

// apply makes one change.
func apply(document any, change string) (any, error) {
	path, text, ok := strings.Cut(change, "=")
	path = strings.Trim(strings.TrimSpace(path), "/")
	if !ok || path == "" {
		return document, errors.New("it is not written as path=value")
	}
	tokens := strings.Split(path, "/")
	for i, t := range tokens {
		tokens[i] = strings.NewReplacer("~1", "/", "~0", "~").Replace(t)
	}
	tokens, err := byName(document, tokens)
	if err != nil {
		return document, err
	}
	return set(document, tokens, value(text))
}

// named are the lists whose elements have a name of their own.
var named = map[string]struct{ list, key string }{
	"lesion": {"lesions", "number"},
	"event":  {"events", "id"},
}

// byName turns lesion/2 into lesions/{index of the lesion with number 2}.
func byName(document any, tokens []string) ([]string, error) {
	by, ok := named[tokens[0]]
	if !ok || len(tokens) < 2 {
		return tokens, nil
	}
	object, _ := document.(map[string]any)
	list, _ := object[by.list].([]any)
	at := slices.IndexFunc(list, func(v any) bool {
		element, _ := v.(map[string]any)
		return element[by.key] != nil && fmt.Sprint(element[by.key]) == tokens[1]
	})
	if at < 0 {
		return nil, fmt.Errorf("the document has no such %s", tokens[0])
	}
	return append([]string{by.list, strconv.Itoa(at)}, tokens[2:]...), nil
}

// absent is the value that removes a field.
type absent struct{}

func value(text string) any {
	text = strings.TrimSpace(text)
	if text == "" {
		return absent{}
	}
	decoder := json.NewDecoder(strings.NewReader(text))
	decoder.UseNumber() // keeps the digits as written
	var v any
	if err := decoder.Decode(&v); err == nil && !decoder.More() {
		return v
	}
	return text
}

// set puts the value at the path below at, and returns at. Objects that are
// missing on the way are made: a report without histology can be asked what
// histology would change.
func set(at any, path []string, v any) (any, error) {
	if len(path) == 0 {
		return v, nil
	}
	switch node := at.(type) {
	case nil:
		return set(map[string]any{}, path, v)
	case map[string]any:
		below, err := set(node[path[0]], path[1:], v)
		if err != nil {
			return at, err
		}
		if _, remove := below.(absent); remove {
			delete(node, path[0])
			return node, nil
		}
		node[path[0]] = below
		return node, nil
	case []any:
		i, err := strconv.Atoi(path[0])
		if err != nil || i < 0 || i >= len(node) {
			return at, errors.New("a list on its path has no such element")
		}
		below, err := set(node[i], path[1:], v)
		if err != nil {
			return at, err
		}
		if _, remove := below.(absent); remove {
			return slices.Delete(node, i, i+1), nil
		}
		node[i] = below
		return node, nil
	}
	return at, errors.New("its path leads into a single value")
}
