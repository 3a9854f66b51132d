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

// eachReference calls visit with the raw string of every reference in a body
// (without quotes, JSON escapes as they are) and its place.
func eachReference(body []byte, visit func(start, end int, raw []byte)) {
	for at := 0; ; {
		i := bytes.Index(body[at:], referenceKey)
		if i < 0 {
			return
		}
		start := at + i + len(referenceKey)
		if at+i == 0 || body[at+i-1] != '"' { // the end of another name
			at = start
			continue
		}
		end := start
		for end < len(body) && body[end] != '"' {
			if body[end] == '\\' {
				end++
			}
			end++
		}
		if end >= len(body) {
			return
		}
		visit(start, end, body[start:end])
		at = end
	}
}

// replaceReferences copies body to out with some references exchanged. swap
// returns false for those that stay.
func replaceReferences(out *bytes.Buffer, body []byte, swap func(raw []byte) (string, bool)) {
	done := 0
	eachReference(body, func(start, end int, raw []byte) {
		if to, ok := swap(raw); ok {
			out.Write(body[done:start])
			out.WriteString(to)
			done = end
		}
	})
	out.Write(body[done:])
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

// resolveAll has each distinct external reference of some bodies looked up once.
func resolveAll(bodies [][]byte, lookUp func(external) (string, *Failure)) (resolutions, *Failure) {
	all, literals := resolutions{}, map[external]string{}
	var failure *Failure
	for _, b := range bodies {
		eachReference(b, func(_, _ int, raw []byte) {
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

// localise exchanges the external references of a body for what they resolved
// to; those that were not looked up become references by identifier. A literal
// is a swap of bytes; a logical reference changes the shape of the object and
// goes through the JSON tree, digits kept.
func localise(body []byte, resolved resolutions) ([]byte, error) {
	if !bytes.Contains(body, byIdentifier) {
		return body, nil
	}
	logical := false
	var out bytes.Buffer
	out.Grow(len(body))
	replaceReferences(&out, body, func(raw []byte) (string, bool) {
		r, known := resolved[string(raw)]
		if !known && !logical {
			_, known = readExternal(raw)
		}
		logical = logical || known && r.literal == ""
		return r.literal, r.literal != ""
	})
	if !logical {
		return out.Bytes(), nil
	}
	return makeLogical(out.Bytes(), resolved)
}

// makeLogical turns the external references that are left into identifiers.
func makeLogical(body []byte, resolved resolutions) ([]byte, error) {
	final := map[string]bool{} // a literal may be a search that the target makes itself
	for _, r := range resolved {
		final[r.literal] = true
	}
	tree, err := fhirserver.DecodeTree[any](body)
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
