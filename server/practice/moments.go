package practice

import "strings"

// validMoment reports whether a text is a value of the primitive type, where it
// is one of a date or a time (http://hl7.org/fhir/R4/datatypes.html#date). It
// goes byte by byte, as every date of every resource passes here.
func validMoment(kind, s string) bool {
	switch kind {
	case "date":
		rest, _, ok := cutDate(s)
		return ok && rest == ""
	case "dateTime":
		rest, whole, ok := cutDate(s)
		return ok && (rest == "" || whole && validClock(rest, true))
	case "instant":
		rest, whole, ok := cutDate(s)
		return ok && whole && validClock(rest, true)
	case "time":
		return validClock("T"+s, false)
	}
	return true
}

// cutDate takes YYYY, YYYY-MM or YYYY-MM-DD off; whole says that it has a day.
func cutDate(s string) (rest string, whole, ok bool) {
	year, s, ok := cutNumber(s, 4)
	if !ok || year == 0 || s == "" {
		return s, false, ok && year > 0
	}
	month, s, ok := cutPart(s, '-')
	if !ok || month < 1 || month > 12 || s == "" {
		return s, false, ok && month >= 1 && month <= 12
	}
	day, s, ok := cutPart(s, '-')
	return s, true, ok && day >= 1 && day <= days(year, month)
}

func days(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// validClock reports whether s is Thh:mm:ss with any fraction, and a zone where
// one has to be. R4 allows a leap second.
func validClock(s string, zoned bool) bool {
	hour, s, ok := cutPart(s, 'T')
	if !ok || hour > 23 {
		return false
	}
	minute, s, ok := cutPart(s, ':')
	if !ok || minute > 59 {
		return false
	}
	second, s, ok := cutPart(s, ':')
	if !ok || second > 60 {
		return false
	}
	if fraction, cut := strings.CutPrefix(s, "."); cut {
		s = strings.TrimLeft(fraction, "0123456789")
		if s == fraction {
			return false
		}
	}
	if !zoned {
		return s == ""
	}
	if s == "Z" {
		return true
	}
	if s == "" || s[0] != '+' && s[0] != '-' {
		return false
	}
	hours, s, ok := cutNumber(s[1:], 2)
	if !ok {
		return false
	}
	minutes, s, ok := cutPart(s, ':')
	return ok && s == "" && minutes <= 59 && (hours < 14 || hours == 14 && minutes == 0)
}

// cutPart takes a mark and two digits off.
func cutPart(s string, mark byte) (n int, rest string, ok bool) {
	if s == "" || s[0] != mark {
		return 0, s, false
	}
	return cutNumber(s[1:], 2)
}

func cutNumber(s string, digits int) (n int, rest string, ok bool) {
	if len(s) < digits {
		return 0, s, false
	}
	for i := range digits {
		if s[i] < '0' || s[i] > '9' {
			return 0, s, false
		}
		n = 10*n + int(s[i]-'0')
	}
	return n, s[digits:], true
}
