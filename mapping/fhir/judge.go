package fhir

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"sync"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
	"enbloc/mapping/term"
)

// judge checks an object once all of it is known.
func (w *walker) judge(name []byte, s *seen) error {
	switch string(name) {
	case "":
		return w.judgeRoot(s)
	case "coding", "security":
		return w.judgeCoding(s)
	case "tag":
		return w.judgeTag(s)
	case "identifier":
		w.hasRole = w.hasRole || w.current.SearchBy == graph.ByIdentifier &&
			string(s.system) == graph.RoleKeySystem && string(s.value) == w.current.Key
	}
	for _, need := range nestedRequired[string(name)] {
		if !s.has(need) {
			return errRequired
		}
	}
	if string(name) == "component" {
		return judgeSaid(s)
	}
	if string(s.system) == model.UCUM && allKnown()[model.UCUM][string(s.code)] == nil {
		return errUnit
	}
	if s.reference != nil {
		return w.judgeReference(string(name), s)
	}
	return nil
}

// judgeRoot checks what the type requires and which statuses are sent for it.
func (w *walker) judgeRoot(s *seen) error {
	rule, ok := typeRules[w.current.Type]
	if !ok {
		return errWrongType
	}
	for _, need := range rule.required {
		if !s.has(need) {
			w.path = append(w.path, []byte(need))
			return errRequired
		}
	}
	if rule.statuses != nil && !among(string(s.status), rule.statuses) {
		return errStatusCode
	}
	if w.current.Type == "Observation" {
		return judgeSaid(s)
	}
	return nil
}

func among(s string, list []string) bool {
	for _, have := range list {
		if s == have {
			return true
		}
	}
	return false
}

// judgeSaid: an Observation or a component has a value, or says why not, or
// holds others that do; never a value and the reason why there is none (R4,
// obs-6).
func judgeSaid(s *seen) error {
	value, absent := s.has("value[x]"), s.has("dataAbsentReason")
	if value && absent {
		return errContradiction
	}
	if !value && !absent && !s.has("hasMember") && !s.has("component") {
		return errNothingSaid
	}
	return nil
}

// judgeCoding checks system, code and display against the tables, and notes the
// label of test data.
func (w *walker) judgeCoding(s *seen) error {
	display := allKnown()[string(s.system)][string(s.code)]
	if display == nil || *display != string(s.display) {
		local, ok := w.site[string(s.system)][string(s.code)]
		if !ok || local != string(s.display) {
			return errCode
		}
	}
	if string(s.code) == "HTEST" {
		w.labelled = true
	}
	return nil
}

// judgeTag checks the two keys that stand as tags; any other tag is a coding.
func (w *walker) judgeTag(s *seen) error {
	switch string(s.system) {
	case graph.CaseKeySystem:
		w.hasCase = string(s.code) == w.caseKey
		return nil
	case graph.RoleKeySystem:
		w.hasRole = w.current.SearchBy == graph.ByTag && string(s.code) == w.current.Key
		return nil
	}
	return w.judgeCoding(s)
}

// judgeReference checks that a reference leads to a resource of the graph that
// may stand there, or to what the hospital owns.
func (w *walker) judgeReference(name string, s *seen) error {
	if id, ok := bytes.CutPrefix(s.reference, []byte("urn:uuid:")); ok {
		kind, known := w.types[string(id)]
		if !known {
			return errDangling
		}
		if allowed := targets[name]; allowed != "" && !strings.Contains(allowed, kind) {
			return errTarget
		}
		return nil
	}
	for _, prefix := range outside {
		if len(s.reference) > len(prefix) && string(s.reference[:len(prefix)]) == prefix {
			return nil
		}
	}
	return errDangling
}

// localCodings are the codings of a site, in the spelling of the encoder.
func localCodings(site term.Overlay) map[string]map[string]string {
	out := map[string]map[string]string{}
	for _, locals := range site.All() {
		for _, l := range locals {
			system, code := spelled(l.System), spelled(l.Code)
			if out[system] == nil {
				out[system] = map[string]string{}
			}
			out[system][code] = spelled(l.Display)
		}
	}
	return out
}

// spelled is a text as it stands between the quotes of a JSON string.
func spelled(s string) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil { // a string always encodes
		panic(fmt.Sprintf("fhir: spelling a text: %v", err))
	}
	return b.String()[1 : b.Len()-2] // without quotes and line break
}

// allKnown is every code that may be sent with its display, as JSON has it, by
// system and code.
var allKnown = sync.OnceValue(func() map[string]map[string]*string {
	known := map[string]map[string]*string{}
	add := func(system, code, display string) {
		if known[system] == nil {
			known[system] = map[string]*string{}
		}
		quoted := strings.ReplaceAll(display, `"`, `\"`)
		known[system][code] = &quoted
	}
	for _, c := range term.Codes() {
		add(c.System, c.Code, c.Display)
	}
	for _, c := range term.Concepts() {
		add(term.System, c.Code, c.Display)
	}
	return known
})
