package schemas

import "strings"

// unit is what a field's name says about its figure.
type unit struct{ suffix, symbol, words string }

// units lists the endings of field names, longer before shorter.
var units = []unit{
	{"_mg_dl", "mg/dL", "milligrams per decilitre"},
	{"_g_dl", "g/dL", "grams per decilitre"},
	{"_per_ul", "", "cells per microlitre"},
	{"_mm2", "", "square millimetres"},
	{"_mm", "mm", "millimetres"},
	{"_cm", "cm", "centimetres"},
	{"_um", "µm", "micrometres"},
	{"_ml", "ml", "millilitres"},
	{"_mg", "mg", "milligrams"},
	{"_ug", "µg", "micrograms"},
	{"_pct", "%", "per cent"},
	{"_w", "W", "watts"},
	{"_h", "h", "hours"},
	{"_y", "", "years"},
	{"_c", "°C", "degrees Celsius"},
}

// unitOf reads the unit from a field's name; the zero unit when it has none.
func unitOf(field string) unit {
	for _, u := range units {
		if strings.HasSuffix(field, u.suffix) {
			return u
		}
	}
	return unit{}
}

// unitIn is the unit in brackets, for the end of a sentence.
func unitIn(field string) string {
	if u := unitOf(field); u.words != "" {
		return " (" + u.words + ")"
	}
	return ""
}
