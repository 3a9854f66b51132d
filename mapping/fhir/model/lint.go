package model

import (
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"unicode"
)

var (
	errEmptyDecimal = errors.New("a decimal without digits, which would be sent as 0")
	errBadDecimal   = errors.New("a decimal that is not one")
	errCodeRange    = errors.New("a code out of its range")
	errCodeDefault  = errors.New("a code that was never set")
	errTwoValues    = errors.New("two values in one choice")
)

// lint looks at a struct before it is written, for what can no longer be seen
// afterwards. It visits only fields through which such a fault can be reached.
func lint(resource any) error {
	v := reflect.ValueOf(resource).Elem()
	return planOf(v.Type()).lint(v)
}

type coder interface{ Code() string }

var (
	coderType  = reflect.TypeFor[coder]()
	numberType = reflect.TypeFor[json.Number]()
)

// lintValue looks at a value of a field; of is the plan of the structs in it.
func lintValue(v reflect.Value, of *plan) error {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return lintValue(v.Elem(), of)
	case reflect.Slice:
		for i := range v.Len() {
			if err := lintValue(v.Index(i), of); err != nil {
				return err
			}
		}
	case reflect.String:
		if v.Type() == numberType {
			return lintDecimal(v.String())
		}
	case reflect.Int:
		if c, ok := v.Interface().(coder); ok && c.Code() == "<unknown>" {
			return fmt.Errorf("%s: %w", v.Type().Name(), errCodeRange)
		}
	case reflect.Struct:
		return of.lint(v)
	}
	return nil
}

// lint checks the choices and nested codes of a struct, then what lies
// below it.
func (p *plan) lint(v reflect.Value) error {
	for _, choice := range p.choices {
		set := 0
		for _, field := range choice {
			if !v.Field(field).IsNil() {
				set++
			}
		}
		if set > 1 {
			return fmt.Errorf("%s.%s: %w", v.Type().Name(), v.Type().Field(choice[0]).Name, errTwoValues)
		}
	}
	if p.explicit >= 0 && v.Field(p.explicit).IsZero() {
		return fmt.Errorf("%s.%s: %w", v.Type().Name(), v.Type().Field(p.explicit).Name, errCodeDefault)
	}
	for _, s := range p.visit {
		if err := lintValue(v.Field(s.field), s.of); err != nil {
			return err
		}
	}
	return nil
}

// lintDecimal: the library would write no digits as 0 and a quoted number as a
// number.
func lintDecimal(s string) error {
	if s == "" {
		return errEmptyDecimal
	}
	if !json.Valid([]byte(s)) || s[0] == '"' {
		return errBadDecimal
	}
	return nil
}

// plan says what of a struct type has to be looked at.
type plan struct {
	visit    []step  // fields that may hold a decimal, a code or a choice
	choices  [][]int // pointer fields of which one may be set
	explicit int     // a nested code whose zero value is never meant, or -1
}

// step is a field to visit, with the plan of the structs in it.
type step struct {
	field int
	of    *plan
}

// neverZero are the nested codes whose first value enbloc never means: a
// forgotten Provenance.entity.role would say "derivation", a forgotten
// Device.deviceName.type "udi-label-name".
var neverZero = map[string]bool{"ProvenanceEntity.Role": true, "DeviceDeviceName.Type": true}

// plans are by type. They are worked out once, so that the check costs little
// next to the encoding.
var plans = struct {
	sync.RWMutex
	of map[reflect.Type]*plan
}{of: map[reflect.Type]*plan{}}

func planOf(t reflect.Type) *plan {
	plans.RLock()
	p, known := plans.of[t]
	plans.RUnlock()
	if known {
		return p
	}
	plans.Lock()
	defer plans.Unlock()
	return makePlan(t)
}

// makePlan makes the plan of a struct and of those below it; plans is locked.
func makePlan(t reflect.Type) *plan {
	if p, ok := plans.of[t]; ok {
		return p
	}
	p := &plan{explicit: -1}
	plans.of[t] = p // a type may contain itself
	bases := map[string][]int{}
	var order []string
	for i := range t.NumField() {
		f := t.Field(i)
		if reaches(f.Type, map[reflect.Type]bool{}) {
			p.visit = append(p.visit, step{i, planBelow(f.Type)})
		}
		if neverZero[t.Name()+"."+f.Name] {
			p.explicit = i
		}
		if base := choiceBase(f); base != "" {
			if bases[base] == nil {
				order = append(order, base)
			}
			bases[base] = append(bases[base], i)
		}
	}
	for _, base := range order {
		if len(bases[base]) > 1 {
			p.choices = append(p.choices, bases[base])
		}
	}
	return p
}

// planBelow is the plan of the structs that a field holds, nil where it holds
// none.
func planBelow(t reflect.Type) *plan {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice:
		return planBelow(t.Elem())
	case reflect.Struct:
		return makePlan(t)
	}
	return nil
}

// reaches reports whether a fault that lint looks for can lie in a value of
// type t. A type that contains itself is followed once.
func reaches(t reflect.Type, seen map[reflect.Type]bool) bool {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice:
		return reaches(t.Elem(), seen)
	case reflect.String:
		return t == numberType
	case reflect.Int:
		return t.Implements(coderType)
	case reflect.Struct:
		if seen[t] {
			return false
		}
		seen[t] = true
		for i := range t.NumField() {
			f := t.Field(i)
			if choiceBase(f) != "" || reaches(f.Type, seen) {
				return true
			}
		}
	}
	return false
}

// choiceBases are the elements of R4 that hold one of several types, as far as
// the types of this package have them (value[x], effective[x] …).
var choiceBases = []string{"value", "effective", "performed", "onset", "abatement", "occurrence", "occurred",
	"medication", "collected", "fastingStatus", "time", "additive", "created", "author", "asNeeded", "quantity"}

// choiceBase is the name of the choice that a field belongs to, or "".
func choiceBase(f reflect.StructField) string {
	if f.Type.Kind() != reflect.Pointer {
		return ""
	}
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return ChoiceBase(name)
}

// ChoiceBase is the name of the choice that a JSON member belongs to ("value"
// for valueQuantity), or "".
func ChoiceBase(name string) string {
	for _, base := range choiceBases {
		if rest, ok := strings.CutPrefix(name, base); ok && rest != "" && unicode.IsUpper(rune(rest[0])) {
			return base
		}
	}
	return ""
}
