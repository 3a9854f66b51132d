package model

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Object is a JSON object that keeps the order of its members, the digits of
// its numbers and everything it does not know. Resources of others, and those
// that only have to be changed in one place, are handled as Objects.
type Object struct{ members []member }

type member struct {
	name  string
	value any // *Object, []any, string, json.Number, bool or nil
}

var (
	errNotObject = errors.New("not a JSON object")
	errTrailing  = errors.New("something follows the JSON object")
	errTooDeep   = errors.New("nested too deep")
)

// ParseObject reads a JSON object.
func ParseObject(raw []byte) (*Object, error) {
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	v, err := parse(dec, maxDepth)
	if err != nil {
		return nil, fmt.Errorf("reading a JSON object: %w", err)
	}
	o, ok := v.(*Object)
	if !ok {
		return nil, errNotObject
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, errTrailing
	}
	return o, nil
}

// maxDepth bounds nesting; no FHIR resource comes near it.
const maxDepth = 128

func parse(dec *json.Decoder, depth int) (any, error) {
	if depth == 0 {
		return nil, errTooDeep
	}
	token, err := dec.Token()
	if err != nil {
		return nil, err
	}
	switch token {
	case json.Delim('{'):
		o := &Object{}
		for dec.More() {
			name, err := dec.Token()
			if err != nil {
				return nil, err
			}
			value, err := parse(dec, depth-1)
			if err != nil {
				return nil, err
			}
			o.members = append(o.members, member{name.(string), value})
		}
		_, err := dec.Token()
		return o, err
	case json.Delim('['):
		list := []any{}
		for dec.More() {
			value, err := parse(dec, depth-1)
			if err != nil {
				return nil, err
			}
			list = append(list, value)
		}
		_, err := dec.Token()
		return list, err
	}
	return token, nil
}

// Get returns a member's value: *Object, []any, string, json.Number, bool, or
// nil when there is none.
func (o *Object) Get(name string) any {
	for _, m := range o.members {
		if m.name == name {
			return m.value
		}
	}
	return nil
}

// Set replaces a member where it stands, or appends it. The value is of one of
// the types that Get returns.
func (o *Object) Set(name string, value any) {
	for i, m := range o.members {
		if m.name == name {
			o.members[i].value = value
			return
		}
	}
	o.members = append(o.members, member{name, value})
}

// Delete removes the members that match.
func (o *Object) Delete(match func(name string) bool) {
	kept := o.members[:0]
	for _, m := range o.members {
		if !match(m.name) {
			kept = append(kept, m)
		}
	}
	o.members = kept
}

// JSON writes the object, without escaping <, > and &.
func (o *Object) JSON() (json.RawMessage, error) {
	var buf bytes.Buffer
	if err := render(&buf, o); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

func render(buf *bytes.Buffer, v any) error {
	switch v := v.(type) {
	case *Object:
		buf.WriteByte('{')
		for i, m := range v.members {
			if i > 0 {
				buf.WriteByte(',')
			}
			if err := render(buf, m.name); err != nil {
				return err
			}
			buf.WriteByte(':')
			if err := render(buf, m.value); err != nil {
				return err
			}
		}
		buf.WriteByte('}')
	case []any:
		buf.WriteByte('[')
		for i, item := range v {
			if i > 0 {
				buf.WriteByte(',')
			}
			if err := render(buf, item); err != nil {
				return err
			}
		}
		buf.WriteByte(']')
	case json.Number:
		buf.WriteString(v.String())
	case bool:
		buf.WriteString(strconv.FormatBool(v))
	default:
		enc := json.NewEncoder(buf)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(v); err != nil {
			return err
		}
		buf.Truncate(buf.Len() - len("\n"))
	}
	return nil
}

// Scrub takes out every null, empty string, empty list and empty object, and
// what becomes empty by that. FHIR knows none of them.
func (o *Object) Scrub() {
	kept := o.members[:0]
	for _, m := range o.members {
		if value := scrub(m.value); value != nil {
			kept = append(kept, member{m.name, value})
		}
	}
	o.members = kept
}

// scrub returns the value without what is empty, nil when nothing is left.
func scrub(v any) any {
	switch v := v.(type) {
	case *Object:
		if v.Scrub(); len(v.members) == 0 {
			return nil
		}
	case []any:
		kept := []any{}
		for _, item := range v {
			if item = scrub(item); item != nil {
				kept = append(kept, item)
			}
		}
		if len(kept) == 0 {
			return nil
		}
		return kept
	case string:
		if strings.TrimSpace(v) == "" {
			return nil
		}
	}
	return v
}
