package judge

import (
	"bytes"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
)

// Hygiene checks what the other judges let through: null anywhere, an empty string, object or array (FHIR R4, JSON
// format, json.html: "properties are never empty"), and a urn:uuid that no entry of the Bundle has as fullUrl, which
// makes a server refuse the transaction (bundle.html, "Resolving references in Bundles").
func Hygiene(bundle []byte) []string {
	var root any
	decoder := json.NewDecoder(bytes.NewReader(bundle))
	decoder.UseNumber()
	if err := decoder.Decode(&root); err != nil {
		return []string{err.Error()}
	}
	walk := hygiene{fullURLs: fullURLs(root)}
	walk.value(root, "")
	slices.Sort(walk.faults)
	return walk.faults
}

type hygiene struct {
	fullURLs map[string]bool
	faults   []string
}

func (h *hygiene) fault(at, what string) { h.faults = append(h.faults, at+": "+what) }

func (h *hygiene) value(value any, at string) {
	switch value := value.(type) {
	case nil:
		h.fault(at, "null")
	case string:
		h.text(value, at)
	case []any:
		if len(value) == 0 {
			h.fault(at, "empty array")
		}
		for i, item := range value {
			h.value(item, at+"/"+strconv.Itoa(i))
		}
	case map[string]any:
		if len(value) == 0 {
			h.fault(at, "empty object")
		}
		for name, member := range value {
			if name == "value" && value["system"] == "urn:ietf:rfc:3986" {
				continue // an Identifier whose value happens to be a urn, not a reference
			}
			h.value(member, at+"/"+name)
		}
	}
}

func (h *hygiene) text(text, at string) {
	if strings.TrimSpace(text) == "" {
		h.fault(at, "empty string")
	}
	if strings.HasPrefix(text, "urn:uuid:") && !strings.HasSuffix(at, "/fullUrl") && !h.fullURLs[text] {
		h.fault(at, "no entry has the fullUrl "+text)
	}
}

func fullURLs(root any) map[string]bool {
	found := map[string]bool{}
	bundle, _ := root.(map[string]any)
	entries, _ := bundle["entry"].([]any)
	for _, entry := range entries {
		entry, _ := entry.(map[string]any)
		if url, ok := entry["fullUrl"].(string); ok {
			found[url] = true
		}
	}
	return found
}
