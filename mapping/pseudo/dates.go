package pseudo

import (
	"strings"
	"time"
)

// moved is a date or dateTime of R4 as the recipient gets it; empty when it is
// none (http://hl7.org/fhir/R4/datatypes.html#dateTime).
func (w *work) moved(text string) string {
	layouts := map[int]string{4: "2006", 7: "2006-01", 10: time.DateOnly}
	layout, partial := layouts[len(text)]
	if !partial {
		layout = time.RFC3339Nano
	}
	at, err := time.Parse(layout, text)
	switch {
	case err != nil:
		return ""
	case w.Dates == Month:
		return text[:min(len(text), len("2006-01"))]
	case partial:
		// The middle of a year or month moves, so that the rounding is even.
		middle := map[int]int{4: 182, 7: 14}[len(text)]
		return at.AddDate(0, 0, middle-w.days).Format(layout)
	}
	return at.UTC().AddDate(0, 0, -w.days).Format("2006-01-02T15:04:05" + fraction(text) + "Z")
}

// movedInstant is an instant as the recipient gets it; empty when it cannot have
// any, as an instant has no precision to give up.
func (w *work) movedInstant(text string) string {
	if w.Dates == Month || len(text) <= len(time.DateOnly) {
		return ""
	}
	return w.moved(text)
}

// fraction is the layout of the fraction of a second in a time, so that its
// digits stay as many.
func fraction(text string) string {
	_, rest, ok := strings.Cut(text, ".")
	if !ok {
		return ""
	}
	return "." + strings.Repeat("0", len(rest)-len(strings.TrimLeft(rest, "0123456789")))
}
