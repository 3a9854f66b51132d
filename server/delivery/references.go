package delivery

import (
	"bytes"
	"encoding/json"
	"net/url"
	"regexp"
	"strings"

	"enbloc/server/target/fhirserver"
)

// Bodies are canonical JSON, so a reference always reads `"reference":"…"`
// without a space. Inside a string value the quotes would be escaped, so the
// pattern matches real references only.
//
// It is looked for without its first quote, of which JSON is full: that is twice
// as fast.
var referenceKey = []byte(`reference":"`)

// body is a resource as canonical JSON with the places of its references (the
// text between the quotes, JSON escapes as they are). They are looked for once:
// what a case refers to is resolved, written and noted by them.
type body struct {
	raw   []byte
	links []place
}

type place struct{ start, end int }

func bodyOf(raw []byte) body {
	b := body{raw: raw}
	for at := 0; ; {
		i := bytes.Index(raw[at:], referenceKey)
		if i < 0 {
			return b
		}
		start := at + i + len(referenceKey)
		if at+i == 0 || raw[at+i-1] != '"' { // the end of another name
			at = start
			continue
		}
		end := start
		for end < len(raw) && raw[end] != '"' {
			if raw[end] == '\\' {
				end++
			}
			end++
		}
		if end >= len(raw) {
			return b
		}
		if b.links == nil {
			b.links = make([]place, 0, usualLinks)
		}
		b.links = append(b.links, place{start, end})
		at = end
	}
}

// usualLinks is what most resources of a case have no more of.
const usualLinks = 8

// each calls visit with the text of every reference.
func (b body) each(visit func(raw []byte)) {
	for _, l := range b.links {
		visit(b.raw[l.start:l.end])
	}
}

// write copies the body to out with some references exchanged. swap returns
// false for those that stay.
func (b body) write(out *bytes.Buffer, swap func(raw []byte) (string, bool)) {
	done := 0
	for _, l := range b.links {
		if to, ok := swap(b.raw[l.start:l.end]); ok {
			out.Write(b.raw[done:l.start])
			out.WriteString(to)
			done = l.end
		}
	}
	out.Write(b.raw[done:])
}

// external is a reference to what the hospital owns, named by its identifier.
type external struct {
	Type string
	// Token is system|value as a FHIR search spells it.
	Token string
	// System and Value are the identifier itself.
	System, Value string
}

var externalForm = regexp.MustCompile(`^([A-Z][A-Za-z]{1,63})\?identifier=(.+)$`)

// byIdentifier is in every external reference, and its "?" in no other.
var byIdentifier = []byte("?identifier=")

// readExternal reads "Type?identifier=system|value", with the value escaped for
// a FHIR search and then for a URL.
func readExternal(raw []byte) (external, bool) {
	if !bytes.Contains(raw, byIdentifier) {
		return external{}, false
	}
	var text string
	if json.Unmarshal(append(append([]byte{'"'}, raw...), '"'), &text) != nil {
		return external{}, false
	}
	m := externalForm.FindStringSubmatch(text)
	if m == nil {
		return external{}, false
	}
	token, err := url.QueryUnescape(m[2])
	if err != nil {
		return external{}, false
	}
	system, value := splitToken(token)
	return external{m[1], token, system, value}, value != ""
}

// splitToken undoes the FHIR escapes: the first | without a backslash parts
// system from value.
func splitToken(token string) (system, value string) {
	var parts [2]strings.Builder
	at := 0
	for i := 0; i < len(token); i++ {
		switch c := token[i]; {
		case c == '\\' && i+1 < len(token):
			i++
			parts[at].WriteByte(token[i])
		case c == '|' && at == 0:
			at = 1
		default:
			parts[at].WriteByte(c)
		}
	}
	if at == 0 {
		return "", parts[0].String()
	}
	return parts[0].String(), parts[1].String()
}

// resolution is what became of an external reference: a literal, or empty for
// a reference by identifier only.
type resolution struct {
	literal string
	of      external
}

// resolutions are by the raw text of the reference: a case names the same few
// people in each of its resources, and reading a name is dear.
type resolutions map[string]resolution

// literal is the swap of [body.write] for what was resolved.
func (r resolutions) literal(raw []byte) (string, bool) {
	to := r[string(raw)].literal
	return to, to != ""
}

// resolveAll has each distinct external reference of some ops looked up once.
func resolveAll(ops []op, lookUp func(external) (string, *Failure)) (resolutions, *Failure) {
	all, literals := resolutions{}, map[external]string{}
	var failure *Failure
	for _, o := range ops {
		o.local.each(func(raw []byte) {
			if _, known := all[string(raw)]; known || failure != nil {
				return
			}
			x, ok := readExternal(raw)
			if !ok {
				return
			}
			literal, known := literals[x] // the same may be spelled in two ways
			if !known {
				literal, failure = lookUp(x)
				literals[x] = literal
			}
			all[string(raw)] = resolution{literal, x}
		})
	}
	return all, failure
}

// localise makes references by identifier of the external ones that have no
// literal. That changes the shape of the object and goes through the JSON tree,
// digits kept; then the literals are in the body too. Else it stays as it is and
// they are written in with all other links.
func (b body) localise(resolved resolutions) (body, error) {
	logical := false
	b.each(func(raw []byte) {
		if !bytes.Contains(raw, byIdentifier) {
			return
		}
		r, known := resolved[string(raw)]
		if !known && !logical {
			_, known = readExternal(raw)
		}
		logical = logical || known && r.literal == ""
	})
	if !logical {
		return b, nil
	}
	var out bytes.Buffer
	out.Grow(len(b.raw))
	b.write(&out, resolved.literal)
	raw, err := makeLogical(out.Bytes(), resolved)
	if err != nil {
		return body{}, err
	}
	return bodyOf(raw), nil
}

// named is a body with every external reference by identifier: what goes to
// nobody who could look them up.
func named(raw []byte) (body, error) { return bodyOf(raw).localise(nil) }

// makeLogical turns the external references that are left into identifiers.
func makeLogical(raw []byte, resolved resolutions) ([]byte, error) {
	final := map[string]bool{} // a literal may be a search that the target makes itself
	for _, r := range resolved {
		final[r.literal] = true
	}
	tree, err := fhirserver.DecodeTree[any](raw)
	if err != nil {
		return nil, err
	}
	fhirserver.EachObject(tree, func(o map[string]any) {
		text, ok := o["reference"].(string)
		if !ok || final[text] {
			return
		}
		quoted, _ := json.Marshal(text) // a string always marshals
		x, ok := readExternal(quoted[1 : len(quoted)-1])
		if !ok {
			return
		}
		delete(o, "reference")
		identifier := map[string]any{"value": x.Value}
		if x.System != "" {
			identifier["system"] = x.System
		}
		// Without a type some servers drop a reference by identifier.
		o["type"], o["identifier"] = x.Type, identifier
	})
	return fhirserver.EncodeTree(tree)
}
