// Package view shows findings, answers and cases to people, in the words an
// endoscopist uses.
//
// It decides nothing: what it shows is what it was given, complete. An answer
// that could not be found is shown as such, with what is missing, and never
// left out, because a missing line reads like a negative one.
package view

import (
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// LesionLine describes a lesion in one line: number, organ and site, Paris
// type, endoscopic size, technique. What the report leaves out is left out.
func LesionLine(l report.Lesion) string {
	parts := []string{place(l.Examination)}
	if paris := Paris(l.Examination.Paris); paris != "" {
		parts = append(parts, paris)
	}
	if size := Size(l.Examination.SizeLongMm, l.Examination.SizeShortMm); size != "" {
		parts = append(parts, size)
	}
	if l.Resection == nil {
		parts = append(parts, "not resected")
	} else {
		parts = append(parts, techniqueWords(l.Resection.Technique))
	}
	return "Lesion " + strconv.Itoa(l.Number) + ": " + strings.Join(parts, ", ")
}

// place is organ and site, with the lining where the organ has two.
func place(e report.Examination) string {
	organ := string(e.Organ)
	switch e.Mucosa {
	case report.Barrett:
		organ = "Barrett oesophagus"
	case report.Squamous:
		organ = "squamous oesophagus"
	}
	var at []string
	for _, part := range []string{string(e.Site), string(e.Wall)} {
		if report.Known(report.Site(part)) {
			at = append(at, Words(part))
		}
	}
	if len(at) == 0 {
		return organ
	}
	return organ + " (" + strings.Join(at, ", ") + ")"
}

// Paris writes a mixed type as usual: 0-IIa+IIc. Empty when none is known.
func Paris(types []report.ParisType) string {
	var out string
	for _, t := range types {
		if !report.Known(t) {
			continue
		}
		if out == "" {
			out = string(t)
		} else {
			out += "+" + strings.TrimPrefix(string(t), "0-")
		}
	}
	return out
}

// Size is "22 × 18 mm", "22 mm" or empty.
func Size(long, short report.Number) string {
	switch {
	case long.Known() && short.Known():
		return long.Text() + " × " + short.Text() + " mm"
	case long.Known():
		return long.Text() + " mm"
	}
	return ""
}

// abbreviations are the techniques and codes that are written in capitals.
var abbreviations = map[string]string{"esd": "ESD", "emr": "EMR"}

func techniqueWords(t report.Technique) string {
	words := strings.Fields(Words(string(t)))
	for i, w := range words {
		if capital, ok := abbreviations[w]; ok {
			words[i] = capital
		}
	}
	return strings.Join(words, " ")
}

// Words turns a term of the document format into words: angular-incisure
// becomes "angular incisure". Codes with capitals (T1b-SM1, C-1) stay.
func Words(term string) string {
	if strings.ToLower(term) != term {
		return term
	}
	return strings.ReplaceAll(term, "-", " ")
}

// ShortKey is the beginning of an opaque key, enough to tell cases apart by eye.
func ShortKey(key string) string {
	const enough = 10
	if len(key) <= enough {
		return key
	}
	return key[:enough] + "…"
}
