package main

import (
	"encoding/json"
	"encoding/xml"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/server/practice"
)

// surveyed is what the receiver holds and how it came there, by its own lists.
type surveyed struct {
	byPlace map[string]json.RawMessage  // Type/id → what stands
	places  map[string][]string         // role key → Type/id of what stands under it
	journal map[string][]practice.Write // case key → its writes, in order
	names   map[string]string           // Type/id → role key, or system|value of the hospital's own
	shared  []string                    // Type/id of what serves many cases
	serving []practice.Write            // the writes of what serves many cases, in order
	writes  int
	known   map[string]string // plain forms by what they were made of; nil: none is kept
}

// remembering is the same, with plain forms that are made once: those of one case.
func (s surveyed) remembering() surveyed {
	s.known = map[string]string{}
	return s
}

func survey(journal []practice.Write) (surveyed, error) {
	s := surveyed{map[string]json.RawMessage{}, map[string][]string{}, map[string][]practice.Write{}, map[string]string{}, nil, nil, 0, nil}
	for _, w := range journal {
		place := w.Type + "/" + w.ID
		tree, err := decode(w.Body)
		if err != nil {
			return s, fmt.Errorf("reading the journal: %w", err)
		}
		s.byPlace[place] = w.Body // the last one stays
		s.names[place] = nameOf(tree)
		roleKey := roleKeyOf(tree)
		if roleKey == "" {
			continue // the hospital's own
		}
		s.writes++
		if w.Version == 1 {
			s.places[roleKey] = append(s.places[roleKey], place)
		}
		if caseKey := caseKeyOf(tree); caseKey != "" {
			s.journal[caseKey] = append(s.journal[caseKey], w)
		} else {
			s.serving = append(s.serving, w)
			if w.Version == 1 {
				s.shared = append(s.shared, place)
			}
		}
	}
	return s, nil
}

// plain is a resource in a form that can be compared: without what a server
// adds, with each reference as the key of what it leads to.
func (s surveyed) plain(body json.RawMessage) string {
	if form, ok := s.known[string(body)]; ok {
		return form
	}
	tree, err := decode(body)
	if err != nil {
		return "no JSON: " + err.Error() // equal to nothing that is expected
	}
	form := plain(tree, func(ref string) string { return s.names[ref] })
	if s.known != nil {
		s.known[string(body)] = form
	}
	return form
}

func plain(tree map[string]any, lead func(string) string) string {
	out := maps.Clone(tree)
	delete(out, "id")
	if meta, ok := out["meta"].(map[string]any); ok {
		meta = maps.Clone(meta)
		delete(meta, "versionId")
		delete(meta, "lastUpdated")
		delete(meta, "source")
		for _, name := range []string{"tag", "security", "profile"} {
			if list, ok := meta[name].([]any); ok {
				meta[name] = set(list)
			}
		}
		out["meta"] = meta
	}
	if text, ok := out["text"].(map[string]any); ok {
		text = maps.Clone(text)
		text["div"] = narrative(fmt.Sprint(text["div"]))
		out["text"] = text
	}
	raw, err := json.Marshal(led(out, lead)) // object keys in order
	if err != nil {
		panic(err) // it came from JSON
	}
	return string(raw)
}

// narrative is XHTML in one form: servers write it anew, with other white space,
// quotes and entities.
func narrative(div string) string {
	var b strings.Builder
	d := xml.NewDecoder(strings.NewReader(div))
	d.Strict, d.Entity = false, xml.HTMLEntity
	for {
		token, err := d.Token()
		if err != nil { // its end
			return b.String()
		}
		switch t := token.(type) {
		case xml.StartElement:
			fmt.Fprintf(&b, "<%s %v>", t.Name.Local, len(t.Attr))
		case xml.EndElement:
			fmt.Fprintf(&b, "</%s>", t.Name.Local)
		case xml.CharData:
			b.WriteString(strings.Join(strings.Fields(string(t)), " "))
		}
	}
}

// set is a list of tags, labels or profiles, whose order means nothing and whose
// words one server keeps as whoever came first wrote them.
func set(list []any) []string {
	var all []string
	for _, one := range list {
		if o, ok := one.(map[string]any); ok {
			one = fmt.Sprint(o["system"], "|", o["code"])
		}
		all = append(all, fmt.Sprint(one))
	}
	slices.Sort(all)
	return all
}

// led exchanges every reference for a name that both sides share.
func led(node any, lead func(string) string) any {
	switch n := node.(type) {
	case map[string]any:
		out := make(map[string]any, len(n))
		for k, v := range n {
			out[k] = led(v, lead)
		}
		if text, ok := n["reference"].(string); ok {
			delete(out, "type")
			out["reference"] = text
			if name := lead(text); name != "" {
				out["reference"] = name
			} else if name := external(text); name != "" {
				out["reference"] = name
			}
		} else if id, ok := n["identifier"].(map[string]any); ok && n["type"] != nil && n["resourceType"] == nil {
			// A reference by identifier: whom the hospital does not know.
			delete(out, "type")
			delete(out, "identifier")
			out["reference"] = fmt.Sprint(id["system"], "|", id["value"])
		}
		return out
	case []any:
		out := make([]any, len(n))
		for i, v := range n {
			out[i] = led(v, lead)
		}
		return out
	}
	return node
}

// external reads "Type?identifier=system|value" as mapping writes it.
func external(ref string) string {
	_, token, ok := strings.Cut(ref, "?identifier=")
	if !ok {
		return ""
	}
	token, err := url.QueryUnescape(token)
	if err != nil {
		return ""
	}
	// A backslash escapes what a FHIR search would take for its own.
	return strings.NewReplacer(`\\`, `\`, `\|`, `|`, `\,`, `,`, `\$`, `$`).Replace(token)
}

func identifiersOf(tree map[string]any) []any {
	if list, ok := tree["identifier"].([]any); ok {
		return list
	}
	return []any{tree["identifier"]}
}

func valueIn(list []any, system, member string) string {
	for _, one := range list {
		if o, ok := one.(map[string]any); ok && o["system"] == system {
			text, _ := o[member].(string)
			return text
		}
	}
	return ""
}

func tagsOf(tree map[string]any) []any {
	meta, _ := tree["meta"].(map[string]any)
	tags, _ := meta["tag"].([]any)
	return tags
}

func roleKeyOf(tree map[string]any) string {
	if k := valueIn(identifiersOf(tree), graph.RoleKeySystem, "value"); k != "" {
		return k
	}
	return valueIn(tagsOf(tree), graph.RoleKeySystem, "code")
}

func caseKeyOf(tree map[string]any) string {
	return valueIn(tagsOf(tree), graph.CaseKeySystem, "code")
}

func nameOf(tree map[string]any) string {
	if k := roleKeyOf(tree); k != "" {
		return k
	}
	if o, ok := identifiersOf(tree)[0].(map[string]any); ok {
		return fmt.Sprint(o["system"], "|", o["value"])
	}
	return ""
}

// expected is what each state of a case consists of: state by state (the first
// at 0), the plain form of each resource by role key. What a later state has no
// more is expected in its void form.
type expected struct {
	states []map[string]string
	role   map[string]string
}

func expect(states []graph.Graph) (expected, error) {
	e := expected{role: map[string]string{}}
	bodies := map[string]graph.Resource{} // newest form of everything so far
	forms := map[string]string{}          // what a later state has unchanged is made plain once
	for _, g := range states {
		urns := map[string]string{}
		for _, r := range bodies {
			urns[r.Reference()] = r.Key
		}
		for _, r := range g.Resources {
			urns[r.Reference()] = r.Key
		}
		now := map[string]string{}
		present := map[string]bool{}
		for _, r := range g.Resources {
			present[r.Key], e.role[r.Key] = true, r.Role
			if old, ok := bodies[r.Key]; ok && (r.Immutable || r.Shared) {
				r = old // the first one stays
			}
			bodies[r.Key] = r
		}
		for _, k := range slices.Sorted(maps.Keys(bodies)) {
			r := bodies[k]
			if !present[k] && !r.Shared {
				void, err := fhir.Void(r.Type, r.Body)
				if err != nil {
					return e, fmt.Errorf("voiding %s: %w", r.Role, err)
				}
				if void != nil {
					r.Body = void
					bodies[k] = r
				}
			}
			if r.Shared {
				now[k] = "" // whoever came first wrote it; it need only stand
				continue
			}
			form, ok := forms[string(r.Body)]
			if !ok {
				tree, err := decode(r.Body)
				if err != nil {
					return e, fmt.Errorf("reading %s: %w", r.Role, err)
				}
				form = plain(tree, func(ref string) string { return urns[ref] })
				forms[string(r.Body)] = form
			}
			now[k] = form
		}
		e.states = append(e.states, now)
	}
	return e, nil
}

// last is the last state.
func (e expected) last() map[string]string { return e.states[len(e.states)-1] }

// stateOf is the first state, from one on, in which a resource looks so; 0 when
// there is none.
func (e expected) stateOf(roleKey, form string, from int) int {
	for n := from; n <= len(e.states); n++ {
		if want, ok := e.states[n-1][roleKey]; ok && want == form {
			return n
		}
	}
	return 0
}
