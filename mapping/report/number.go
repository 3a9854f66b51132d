package report

import (
	"encoding/json"
	"errors"
	"strconv"
)

// Number is a decimal that keeps the digits it was written with, or the reason
// why there is none. In JSON it is a plain decimal or one of the kinds of
// absence as a string. The zero Number was left out of the report.
type Number struct {
	text   string
	absent Absence
}

// NewNumber returns the Number written as text, which must be a plain decimal
// (JSON's grammar without an exponent).
func NewNumber(text string) (Number, error) {
	var n Number
	err := n.UnmarshalJSON([]byte(text))
	return n, err
}

// Int returns the Number of a whole figure.
func Int(v int) Number { return Number{text: strconv.Itoa(v)} }

// Float returns the Number of v with its shortest decimal spelling.
func Float(v float64) Number {
	return Number{text: strconv.FormatFloat(v, 'f', -1, 64)}
}

// Absent returns the Number that is missing for the given reason.
func Absent(a Absence) Number { return Number{absent: a} }

// Known reports whether there is a figure.
func (n Number) Known() bool { return n.text != "" }

// Reported reports whether the field was there at all, be it a figure or a
// reason for its absence.
func (n Number) Reported() bool { return n.text != "" || n.absent != "" }

// Absence is the stated reason for a missing figure, or "".
func (n Number) Absence() Absence { return n.absent }

// Text is the figure as it was written, or "".
func (n Number) Text() string { return n.text }

// Value is the figure; ok is false when there is none.
func (n Number) Value() (v float64, ok bool) {
	if n.text == "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(n.text, 64)
	return v, err == nil
}

// IsZero reports whether the field was left out, for `omitzero`.
func (n Number) IsZero() bool { return !n.Reported() }

// MarshalJSON writes the figure with its own digits, or the absence.
func (n Number) MarshalJSON() ([]byte, error) {
	if n.text != "" {
		return []byte(n.text), nil
	}
	if n.absent != "" {
		return json.Marshal(string(n.absent))
	}
	return []byte("null"), nil
}

var errNotPlainDecimal = errors.New("not a plain decimal and not one of unknown, not-assessed, not-applicable")

// UnmarshalJSON accepts a plain decimal of at most 15 digits or a kind of
// absence. Exponents are refused: nobody writes a lesion's size as 2e1, and a
// figure like 1e999 has no value.
func (n *Number) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		var s string
		if err := json.Unmarshal(b, &s); err != nil {
			return err
		}
		if AbsenceOf(Absence(s)) == "" {
			return errNotPlainDecimal
		}
		*n = Number{absent: Absence(s)}
		return nil
	}
	if !plainDecimal(b) || !json.Valid(b) {
		return errNotPlainDecimal
	}
	*n = Number{text: string(b)}
	return nil
}

// plainDecimal reports whether b holds one to fifteen digits, an optional sign
// and an optional point, and nothing else.
func plainDecimal(b []byte) bool {
	digits, points := 0, 0
	for i, c := range b {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == '.':
			points++
		case c == '-' && i == 0:
		default:
			return false
		}
	}
	return digits >= 1 && digits <= 15 && points <= 1
}
