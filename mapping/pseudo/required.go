package pseudo

import (
	"maps"
	"slices"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/term"
)

// required are R4's required elements of the types that can be pseudonymised
// (http://hl7.org/fhir/R4/, minimum cardinalities on each resource's page). A
// type that is not here, such as one for pictures, is on no list.
var required = map[string][]string{
	"AdverseEvent":             {"actuality", "subject"},
	"BodyStructure":            {"patient"},
	"Condition":                {"subject"},
	"DiagnosticReport":         {"status", "code"},
	"MedicationAdministration": {"status", "medication[x]", "subject", "effective[x]"},
	"Observation":              {"status", "code"},
	"Procedure":                {"status", "subject"},
	"Provenance":               {"target", "recorded", "agent"},
	"ServiceRequest":           {"status", "intent", "subject"},
	"Specimen":                 {},
}

// Types are the resource types that can be on a list.
func Types() []string { return slices.Sorted(maps.Keys(required)) }

// unmasked are required elements without which a resource says nothing: it
// stays behind.
var unmasked = map[string]bool{"subject": true, "patient": true, "target": true, "status": true, "actuality": true, "intent": true, "agent": true}

// inner are required elements of parts (hl7.org/fhir/R4): a part without one is
// left out, unless it is masked.
var innerRequired = map[string]string{"component": "code", "suspectEntity": "instance", "agent": "who"}

const maskedInner = "agent"

// masked is what stands in place of a value that R4 requires and nobody may see
// (http://hl7.org/fhir/R4/extension-data-absent-reason.html, code masked).
func masked() *model.Object {
	return object("extension", []any{object("url", model.DataAbsentReason, "valueCode", "masked")})
}

// complete gives a resource what R4 requires and the list has taken, marked as
// masked; it reports false when the resource has to stay behind.
func (w *work) complete(out, from *model.Object) bool {
	for _, path := range required[w.kind] {
		name, has := member(out, path)
		if has {
			continue
		}
		if unmasked[path] {
			w.tell("", Stays, NothingLeft, "", "")
			return false
		}
		if name, has = member(from, path); !has {
			continue // it was not valid before
		}
		if _, isObject := from.Get(name).(*model.Object); isObject {
			out.Set(name, masked())
		} else {
			out.Set("_"+strings.TrimPrefix(name, "_"), masked())
		}
		w.tell(name, Changed, Masked, "", "data-absent-reason masked")
	}
	if w.kind == "Observation" {
		w.saysWhy(out, from)
	}
	return true
}

// saysWhy marks the value of an Observation as masked when it had one and
// nothing is left that says anything.
func (w *work) saysWhy(out, from *model.Object) {
	_, had := member(from, "value[x]")
	_, has := member(out, "value[x]")
	if has || out.Get("component") != nil || out.Get("hasMember") != nil || out.Get("dataAbsentReason") != nil ||
		!had && from.Get("component") == nil {
		return
	}
	c, _ := term.Lookup("hl7.data-absent-reason.masked")
	out.Set("dataAbsentReason", object("coding", []any{object("system", c.System, "code", c.Code, "display", c.Display)}))
	w.tell("dataAbsentReason", Changed, Masked, "", "masked")
}

// member finds a required element, or the one of a choice that is there.
func member(o *model.Object, path string) (name string, has bool) {
	base, choice := strings.CutSuffix(path, "[x]")
	for n := range o.Members() {
		bare := strings.TrimPrefix(n, "_")
		rest, ok := strings.CutPrefix(bare, base)
		if bare == path || choice && ok && rest != "" && rest[0] >= 'A' && rest[0] <= 'Z' {
			return n, true
		}
	}
	return path, false
}

// object makes a JSON object of names and values in turn.
func object(members ...any) *model.Object {
	o := &model.Object{}
	for i := 0; i+1 < len(members); i += 2 {
		o.Set(members[i].(string), members[i+1])
	}
	return o
}
