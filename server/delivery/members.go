package delivery

import (
	"bytes"
	"encoding/json"
	"errors"

	"enbloc/server/target/fhirserver"
)

// membersOf takes both resources apart and drops what is the same byte for byte:
// most of what a target keeps. A reference by search stays, as a target that
// keeps it has not looked.
func membersOf(sent, read []byte) (a, b map[string]json.RawMessage, err error) {
	if a, err = members(sent); err != nil {
		return nil, nil, err
	}
	if b, err = members(read); err != nil {
		return nil, nil, err
	}
	for name, x := range a {
		y, both := b[name]
		if both && name != "resourceType" && name != "meta" && bytes.Equal(x, y) && !bytes.ContainsRune(x, '?') {
			delete(a, name)
			delete(b, name)
		}
	}
	return a, b, nil
}

// members takes an object apart without looking into its values: what is not
// decoded after that was found to be what we sent. What does not look like an
// object is left to the decoder.
func members(object []byte) (map[string]json.RawMessage, error) {
	found, rest := map[string]json.RawMessage{}, bytes.Trim(object, space)
	if len(rest) < len(`{"":0}`) || rest[0] != '{' || rest[len(rest)-1] != '}' {
		return decoded(object)
	}
	for rest = rest[1:]; ; {
		rest = bytes.TrimLeft(rest, space)
		end := 0
		if rest[0] == '"' {
			end = valueEnd(rest)
		}
		name := rest[:end]
		after := bytes.TrimLeft(rest[end:], space)
		if len(name) < len(`""`) || name[len(name)-1] != '"' || bytes.ContainsFunc(name, unusual) || len(after) == 0 || after[0] != ':' {
			return decoded(object)
		}
		value := bytes.TrimLeft(after[1:], space)
		end = valueEnd(value)
		if end <= 0 || end >= len(value) {
			return decoded(object)
		}
		key := string(name[1 : len(name)-1])
		if _, twice := found[key]; twice {
			return decoded(object)
		}
		found[key] = bytes.TrimRight(value[:end], space)
		if rest = bytes.TrimLeft(value[end:], space); len(rest) == 1 { // the last brace
			return found, nil
		}
		if rest[0] != ',' {
			return decoded(object)
		}
		rest = rest[1:]
	}
}

// unusual is what no name of an element has.
func unusual(c rune) bool { return c < ' ' || c == '\\' || c > '~' }

const space = " \t\r\n"

func decoded(object []byte) (found map[string]json.RawMessage, err error) {
	return found, json.Unmarshal(object, &found)
}

// valueEnd is where the value at the beginning ends: behind a text, else at the
// comma or bracket after it.
func valueEnd(b []byte) int {
	depth := 0
	for i := 0; i < len(b); i++ {
		switch b[i] {
		case '"':
			for i++; i < len(b) && b[i] != '"'; i++ {
				if b[i] == '\\' {
					i++
				}
			}
			if depth == 0 {
				return min(i+1, len(b))
			}
		case '{', '[':
			depth++
		case '}', ']':
			if depth == 0 {
				return i
			}
			if depth--; depth == 0 {
				return i + 1
			}
		case ',':
			if depth == 0 {
				return i
			}
		}
	}
	return len(b)
}

var errNotJSON = errors.New("a resource is not JSON")

func trees(members map[string]json.RawMessage) (map[string]any, error) {
	out := make(map[string]any, len(members))
	for name, raw := range members {
		if !json.Valid(raw) { // the decoder would stop behind the first value
			return nil, errNotJSON
		}
		tree, err := fhirserver.DecodeTree[any](raw)
		if err != nil {
			return nil, err
		}
		out[name] = tree
	}
	return out, nil
}
