package fhir

import (
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// absenceWords say a stated absence: it is never left out of what is signed.
var absenceWords = map[report.Absence]string{report.Unknown: "not known",
	report.NotAssessed: "not assessed", report.NotApplicable: "not applicable"}

// said is an enumerated value in words, "" when it was left out.
func said[T ~string](group string, v T) string {
	if a := report.AbsenceOf(v); a != "" {
		return absenceWords[a]
	}
	return label(group, v)
}

// saidAll is a list of values in words.
func saidAll[T ~string](group string, list []T, between string) string {
	out := make([]string, len(list))
	for i, v := range list {
		if out[i] = said(group, v); i > 0 {
			out[i] = lowerFirst(out[i])
		}
	}
	return strings.Join(nonEmpty(out...), between)
}

// measure is a figure with its unit in words.
func measure(n report.Number, u string) string {
	if n.Known() && u == "%" {
		return n.Text() + u
	}
	if n.Known() {
		return strings.TrimSpace(n.Text() + " " + u)
	}
	return absenceWords[n.Absence()]
}

// size is a pair of diameters.
func size(long, short report.Number, u string) string {
	if long.Known() && short.Known() {
		return long.Text() + " x " + short.Text() + " " + u
	}
	return measure(long, u)
}

// named puts a name before what was said, "" when nothing was.
func named(name, what string) string {
	if what == "" {
		return ""
	}
	return name + " " + lowerFirst(what)
}

// properNames keep their capital in the middle of a sentence.
var properNames = []string{"Kudo", "Paris", "Barrett", "Boston", "Helicobacter", "Lugol", "Sydney"}

// lowerFirst makes a display fit for the middle of a sentence; abbreviations
// ("ESD", "JNET 2A") and proper names stay.
func lowerFirst(s string) string {
	if slices.ContainsFunc(properNames, func(n string) bool { return strings.HasPrefix(s, n) }) {
		return s
	}
	if len(s) < 2 || s[1] < 'a' || s[1] > 'z' {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func yesNoWords(a report.Answer) string {
	switch a {
	case report.Yes:
		return "yes"
	case report.No:
		return "no"
	}
	return absenceWords[report.AbsenceOf(a)]
}

// clock is the time of day, moments the day with it.
func clock(t report.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.At().Format("15:04")
}

func moments(t report.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.At().Format("2006-01-02 15:04 -07:00")
}

// between is a stretch of time by the clock, open where an end is not known.
func between(start, end report.Time) string {
	switch {
	case start.IsZero():
		return clock(end)
	case end.IsZero():
		return "from " + clock(start)
	}
	return clock(start) + " to " + clock(end)
}

// join lists findings and displays in one cell, as one phrase.
func join(list ...string) string {
	var out []string
	for i, s := range nonEmpty(list...) {
		if i > 0 {
			s = lowerFirst(s)
		}
		if !slices.Contains(out, s) { // two things that are not known are said to be so once
			out = append(out, s)
		}
	}
	return strings.Join(out, "; ")
}

// joinText is join with a free text at the end, which stays as it was written.
func joinText(text string, list ...string) string {
	return strings.Join(nonEmpty(join(list...), text), "; ")
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// upperFirst begins a sentence. A first word that is written its own way
// ("eCura B", "sm1") stays.
func upperFirst(s string) string {
	word, _, _ := strings.Cut(s, " ")
	if s == "" || strings.ToLower(word) != word || strings.ContainsAny(word, "0123456789") {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// stopped ends a sentence.
func stopped(s string) string {
	if strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
