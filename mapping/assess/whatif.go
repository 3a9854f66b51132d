package assess

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"enbloc/mapping/report"
)

// Change is one thing that somebody wonders about: what if this field were
// another?
type Change struct {
	// Path names the field: "lesion/1/histology/depth_um" by the number of the
	// lesion, "event/ID/transfusion" by the event's id, "before/inr" from the
	// top, or an RFC 6901 JSON Pointer ("/lesions/0/histology/depth_um").
	Path string
	// Value is the value as JSON; a word may stand without quotes, and "null"
	// takes the field out.
	Value string
}

var errChange = errors.New(`a change reads path=value, such as "lesion/1/histology/depth_um=650"`)

// ParseChange reads "path=value".
func ParseChange(s string) (Change, error) {
	path, value, ok := strings.Cut(s, "=")
	if !ok || strings.TrimSpace(path) == "" {
		return Change{}, errChange
	}
	return Change{Path: strings.TrimSpace(path), Value: strings.TrimSpace(value)}, nil
}

// WhatIf answers a report as it is and as it would be with the changes made.
// The report itself is left alone. A path or value that the report does not
// know is an error, which names the nearest ones.
func (b Book) WhatIf(rep report.Report, changes []Change) (before, after []Result, err error) {
	changed, err := Changed(rep, changes)
	if err != nil {
		return nil, nil, err
	}
	return b.Assess(rep), b.Assess(changed), nil
}

// Changed returns a copy of the report with the changes made, in order.
func Changed(rep report.Report, changes []Change) (report.Report, error) {
	copied := deepCopy(reflect.ValueOf(rep)).Interface().(report.Report)
	for _, c := range changes {
		if err := apply(&copied, c); err != nil {
			return report.Report{}, fmt.Errorf("changing %q: %w", c.Path, err)
		}
	}
	return copied, nil
}

func apply(rep *report.Report, c Change) error {
	steps, err := resolve(rep, c.Path)
	if err != nil {
		return err
	}
	return put(reflect.ValueOf(rep).Elem(), steps, c.Value)
}

// put goes down the steps, making what is missing on the way, and sets the
// value at the end.
func put(v reflect.Value, steps []string, value string) error {
	if v.Kind() == reflect.Pointer && !(len(steps) == 0 && value == "null") {
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		v = v.Elem()
	}
	if len(steps) == 0 {
		return assign(v, value)
	}
	switch {
	case v.Kind() == reflect.Slice:
		i, err := index(steps[0], v.Len())
		if err != nil {
			return err
		}
		if i == v.Len() {
			v.Set(reflect.Append(v, reflect.Zero(v.Type().Elem())))
		}
		return put(v.Index(i), steps[1:], value)
	case v.Kind() == reflect.Struct && !isLeaf(v.Type()):
		field, err := fieldNamed(v, steps[0])
		if err != nil {
			return err
		}
		return put(field, steps[1:], value)
	}
	return fmt.Errorf("%q stands below a value that has no fields", steps[0])
}

// isLeaf reports whether a struct reads itself from JSON: a number or a time.
func isLeaf(t reflect.Type) bool {
	return reflect.PointerTo(t).Implements(reflect.TypeFor[json.Unmarshaler]())
}

// assign decodes the value by the field's own JSON decoding. A word without
// quotes is tried with quotes.
func assign(v reflect.Value, value string) error {
	if value == "null" {
		v.SetZero()
		return nil
	}
	fresh := reflect.New(v.Type())
	if decode(value, fresh.Interface()) != nil {
		quoted, _ := json.Marshal(value)
		if err := decode(string(quoted), fresh.Interface()); err != nil {
			return fmt.Errorf("the value %q does not fit: %w", value, err)
		}
	}
	if err := known(fresh.Elem()); err != nil {
		return err
	}
	v.Set(fresh.Elem())
	return nil
}

func decode(text string, into any) error {
	dec := json.NewDecoder(bytes.NewReader([]byte(text)))
	dec.DisallowUnknownFields()
	if err := dec.Decode(into); err != nil {
		return err
	}
	if dec.More() {
		return errors.New("there is more than one value")
	}
	return nil
}

// known refuses a word that the report's type does not have.
func known(v reflect.Value) error {
	switch v.Kind() {
	case reflect.String:
		allowed, enumerated := words[v.Type()]
		word := v.String()
		if !enumerated || word == "" || report.AbsenceOf(report.Absence(word)) != "" {
			return nil
		}
		for _, a := range allowed {
			if a == word {
				return nil
			}
		}
		return fmt.Errorf("%q is no value of this field; near are %s", word, strings.Join(nearest(word, allowed), ", "))
	case reflect.Slice:
		for i := range v.Len() {
			if err := known(v.Index(i)); err != nil {
				return err
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return known(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				if err := known(v.Field(i)); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
