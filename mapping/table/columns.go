package table

import (
	"strings"

	"enbloc/mapping/report"
)

// The functions of this file declare columns of one kind each.

// key is the column that names the case.
func key() Column {
	return Column{Name: "case_key", Type: Text, Required: true, Key: true, Source: "enbloc",
		Description: "Opaque key of the case. It says nothing about the patient and never changes.",
		get:         func(a *at) Value { return text(a.c.Key) }}
}

// lesionNumber is the column that names the lesion within the case.
func lesionNumber() Column {
	return Column{Name: "lesion", Type: Integer, Required: true, Key: true, Source: "lesions[].number",
		Description: "Number of the lesion within the case, from 1.",
		get:         func(a *at) Value { return whole(a.lesion.Number) }}
}

func words(name, source, description string, get func(a *at) string) Column {
	return Column{Name: name, Type: Text, Source: source, Description: description,
		get: func(a *at) Value { return text(get(a)) }}
}

// figure is a number of the report. A stated absence leaves the cell empty, as
// a column of numbers holds no words.
func figure(name, unit, source, description string, get func(a *at) report.Number) Column {
	return Column{Name: name, Type: Decimal, Unit: unit, Source: source, Description: description,
		get: func(a *at) Value {
			if v, ok := get(a).Value(); ok {
				return decimal(v)
			}
			return Value{}
		}}
}

func cells(name string, kind Type, unit, source, description string, get func(a *at) Value) Column {
	return Column{Name: name, Type: kind, Unit: unit, Source: source, Description: description, get: get}
}

// counted is a whole number that is always there.
func counted(name, source, description string, get func(a *at) int) Column {
	return Column{Name: name, Type: Integer, Source: source, Description: description, Required: true,
		get: func(a *at) Value { return whole(get(a)) }}
}

// answered is the answer of a rule: empty when the rule was not asked,
// cannot-be-assessed when an input is missing.
func answered(name, rule, description string) Column {
	return words(name, rule, description, func(a *at) string {
		if r := a.ruled(rule); r != nil {
			return r.Answer
		}
		return ""
	})
}

// valued is one yes-or-no part of a rule's answer. A part that is open is
// cannot-be-assessed.
func valued(name, rule, part, description string) Column {
	return words(name, rule, description, func(a *at) string {
		r := a.ruled(rule)
		if r == nil {
			return ""
		}
		return yesNo(r.Values[part])
	})
}

func yesNo(v any) string {
	is, known := v.(bool)
	switch {
	case !known:
		return "cannot-be-assessed"
	case is:
		return "yes"
	}
	return "no"
}

// joined is a list in one cell, in the order of the report.
func joined[T ~string](list []T) string {
	parts := make([]string, len(list))
	for i, v := range list {
		parts[i] = string(v)
	}
	return strings.Join(parts, ";")
}

func first[T ~string](list []T) string {
	if len(list) == 0 {
		return ""
	}
	return string(list[0])
}

func required(c Column) Column {
	c.Required = true
	return c
}

func keyed(c Column) Column {
	c.Required, c.Key = true, true
	return c
}
