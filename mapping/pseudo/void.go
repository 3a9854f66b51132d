package pseudo

import (
	"encoding/json"
	"fmt"
	"strings"

	"enbloc/mapping/fhir"
	"enbloc/mapping/fhir/model"
)

// Void is what takes the place of a resource at a recipient that will not delete
// it: marked as entered in error, and without all that R4 does not require. A
// Provenance cannot be marked; for it nil is returned.
func (r *Recipient) Void(resourceType string, body json.RawMessage) (json.RawMessage, error) {
	marked, err := fhir.Void(resourceType, body)
	if err != nil || marked == nil {
		return nil, err
	}
	o, err := model.ParseObject(marked)
	if err != nil {
		return nil, fmt.Errorf("voiding a %s: %w", resourceType, err)
	}
	o.Delete(func(name string) bool { return !bare(resourceType, name) })
	return o.JSON()
}

// bare reports whether a member stays on a resource that was voided: what says
// which resource it is and that it is void, and what R4 requires.
func bare(kind, name string) bool {
	switch name {
	case "resourceType", "meta", "identifier", "status", "verificationStatus", "active", "event":
		return true
	}
	for _, path := range required[kind] {
		base, choice := strings.CutSuffix(path, "[x]")
		rest, ok := strings.CutPrefix(strings.TrimPrefix(name, "_"), base)
		if ok && (rest == "" || choice) {
			return true
		}
	}
	return false
}
