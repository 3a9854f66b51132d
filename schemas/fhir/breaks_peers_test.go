//go:build peers

package fhir_test

import (
	"encoding/json"
	"strings"

	"enbloc/mapping/term"
)

// breaking is one way to break a resource of a profile. It is named by its
// rule, or by what it breaks else.
type breaking struct {
	name, profile string
	says          string // part of the validator's error
	pick          func(object) bool
	spoil         func(object)
}

// rule breaks a rule of ours; the validator names it in the id of its message.
func rule(key, profile string, pick func(object) bool, b func(object)) breaking {
	return breaking{key, profile, "#" + key + " ", pick, b}
}

var breaks = []breaking{
	rule("enb-fact-1", "tumour-budding", has("valueCodeableConcept"), remove("valueCodeableConcept")),
	rule("enb-fact-2", "lst-subtype", nil, func(o object) {
		code := o["code"].(object)
		code["coding"] = append([]any{object{"system": "https://hospital.example/x", "code": "HTEST"}}, code["coding"].([]any)...)
	}),
	rule("enb-fact-3", "resection-fact", has("valueQuantity"), func(o object) {
		q := o["valueQuantity"].(object)
		delete(q, "system")
		delete(q, "code")
	}),
	rule("enb-measure-1", "submucosal-depth", has("valueQuantity"), figure("-1")),
	rule("enb-count-1", "piece-count", has("valueQuantity"), figure("1.5")),
	rule("enb-ranked-1", "paris-type", has("component"), func(o object) { dropComponent(o, "rank-2") }),
	rule("enb-ranked-paris", "paris-type", coded, recode("jnet-2a")),
	rule("enb-ranked-kudo", "kudo-pattern", coded, recode("jnet-2a")),
	rule("enb-ranked-histology-type", "histological-type", coded, recode("jnet-2a")),
	rule("enb-step-1", "resection-step", has("effectivePeriod"), func(o object) {
		p := o["effectivePeriod"].(object)
		p["start"] = "2099-01-01T00:00:00+01:00"
	}),
	rule("enb-margin-1", "horizontal-margin", distance, func(o object) {
		component(o, "margin-distance")["valueQuantity"].(object)["value"] = json.Number("-0.1")
	}),
	rule("enb-derived-1", "derived-result", has("derivedFrom"), func(o object) {
		delete(o, "derivedFrom")
		delete(o, "note")
		dropComponent(o, "missing-input")
	}),
	rule("enb-derived-2", "derived-result", notAssessed, func(o object) { dropComponent(o, "missing-input") }),
	rule("enb-derived-3", "derived-result", nil, func(o object) { o["note"] = []any{object{"text": "Certainly so."}} }),
	rule("enb-derived-4", "ecura-result", coded, remove("derivedFrom")),
	rule("enb-proc-1", "resection", func(o object) bool { return o["status"] == "stopped" }, remove("outcome")),
	rule("enb-cond-1", "lesion-condition", verified("confirmed"), remove("evidence")),
	rule("enb-spec-1", "specimen", has("parent"), remove("parent")),
	rule("enb-event-1", "adverse-event", says("fatal"), remove("seriousness")),
	rule("enb-report-1", "endoscopy-report", func(o object) bool { return o["status"] == "final" }, remove("resultsInterpreter")),
	rule("enb-report-2", "endoscopy-report", has("conclusion"), func(o object) { delete(o, "result"); delete(o, "conclusion") }),

	{"binding-required", "vertical-margin", "enbloc-vertical-margin", coded, recode("horizontal-margin-negative")},
	{"binding-required-words-only", "vertical-margin", "enbloc-vertical-margin", coded, func(o object) { o["valueCodeableConcept"] = object{"text": "free"} }},
	{"binding-of-value-sets", "lesion", "enbloc-lesion-place", nil, func(o object) { o["location"] = own("jnet-2a") }},
	{"binding-of-standard-codes", "en-bloc", "enbloc-yes-no", coded, recode("jnet-2a")},
	{"binding-of-component", "submucosal-depth", "enbloc-depth-from", func(o object) bool {
		return component(o, "depth-base-line") != nil && component(o, "depth-base-line")["valueCodeableConcept"] != nil
	},
		func(o object) { component(o, "depth-base-line")["valueCodeableConcept"] = own("jnet-2a") }},
	{"unit", "submucosal-depth", "value", has("valueQuantity"), func(o object) { q := o["valueQuantity"].(object); q["code"] = "mm"; q["unit"] = "mm" }},
	{"code-of-another-fact", "submucosal-depth", "code", nil, func(o object) { o["code"] = own("tumour-size-long") }},
	{"histology-without-specimen", "histology-panel", "Observation.specimen: minimum required", nil, remove("specimen")},
	{"panel-with-a-value", "lesion-panel", "value", nil, func(o object) { o["valueString"] = "fine" }},
	{"session-without-time", "endoscopy-session", "performed", nil, remove("performedPeriod")},
	{"causality-that-nobody-said", "adverse-event", "causality", func(o object) bool { return o["suspectEntity"] != nil }, func(o object) {
		o["suspectEntity"].([]any)[0].(object)["causality"] = []any{object{"productRelatedness": "certain"}}
	}},
	{"summary-under-another-code", "pathology-summary", "code", nil, func(o object) { o["code"] = own("tumour-size-long") }},
}

func has(name string) func(object) bool { return func(o object) bool { return o[name] != nil } }

func remove(name string) func(object) { return func(o object) { delete(o, name) } }

func own(code string) object {
	for _, c := range term.Concepts() {
		if c.Code == code {
			return object{"coding": []any{object{"system": term.System, "code": code, "display": c.Display}}}
		}
	}
	panic("no concept " + code)
}

// coded picks a resource whose value is a concept, not words alone.
func coded(o object) bool {
	value, _ := o["valueCodeableConcept"].(object)
	return value["coding"] != nil
}

func recode(code string) func(object) {
	return func(o object) { o["valueCodeableConcept"] = own(code) }
}

func figure(value string) func(object) {
	return func(o object) { o["valueQuantity"].(object)["value"] = json.Number(value) }
}

// component is the component under one of our codes, nil for none.
func component(o object, code string) object {
	list, _ := o["component"].([]any)
	for _, c := range list {
		if strings.Contains(text(c.(object)["code"]), `"`+code+`"`) {
			return c.(object)
		}
	}
	return nil
}

func dropComponent(o object, code string) {
	list, _ := o["component"].([]any)
	var kept []any
	for _, c := range list {
		if !strings.Contains(text(c.(object)["code"]), `"`+code+`"`) {
			kept = append(kept, c)
		}
	}
	o["component"] = kept
	if len(kept) == 0 {
		delete(o, "component")
	}
}

func text(v any) string {
	raw, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(raw)
}

func says(word string) func(object) bool {
	return func(o object) bool { return strings.Contains(text(o), `"`+word+`"`) }
}

func distance(o object) bool {
	c := component(o, "margin-distance")
	return c != nil && c["valueQuantity"] != nil
}

func notAssessed(o object) bool {
	return strings.Contains(text(o["dataAbsentReason"]), `"unknown"`) && component(o, "missing-input") != nil
}

func verified(status string) func(object) bool {
	return func(o object) bool { return strings.Contains(text(o["verificationStatus"]), `"`+status+`"`) }
}
