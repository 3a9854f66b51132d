package table

import (
	"strconv"
	"time"
)

// Type is the type of a column, in the words of the Frictionless Table Schema
// (https://specs.frictionlessdata.io/table-schema/, types and formats).
type Type string

// Types of column.
const (
	Text    Type = "string"
	Integer Type = "integer"
	Decimal Type = "number"
	Boolean Type = "boolean"
	Day     Type = "date"     // day in the zone of the session
	Moment  Type = "datetime" // UTC, to the millisecond
)

// Value is one cell. The zero Value is empty: not reported.
type Value struct {
	full bool
	text string
	// number holds integers, booleans (0, 1), days and milliseconds since
	// 1970-01-01; fraction holds decimals.
	number   int64
	fraction float64
}

// Empty reports whether the cell holds nothing.
func (v Value) Empty() bool { return !v.full }

// Text is the content of a [Text] cell, or "".
func (v Value) Text() string { return v.text }

// Integer is the content of an [Integer], [Boolean], [Day] or [Moment] cell:
// a count, 0 or 1, days or milliseconds since 1970-01-01.
func (v Value) Integer() int64 { return v.number }

// Decimal is the content of a [Decimal] cell.
func (v Value) Decimal() float64 { return v.fraction }

func text(s string) Value { return Value{full: s != "", text: s} }

func whole(n int) Value { return Value{full: true, number: int64(n)} }

func decimal(f float64) Value { return Value{full: true, fraction: f} }

func boolean(b bool) Value {
	if b {
		return Value{full: true, number: 1}
	}
	return Value{full: true}
}

// day reads YYYY-MM-DD; anything else is an empty cell.
func day(s string) Value {
	at, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Value{}
	}
	return Value{full: true, number: at.Unix() / secondsPerDay}
}

const secondsPerDay = 24 * 60 * 60

func moment(at time.Time) Value {
	if at.IsZero() {
		return Value{}
	}
	return Value{full: true, number: at.UnixMilli()}
}

// Format writes the cell as CSV has it: decimals with a point and their
// shortest spelling, days as YYYY-MM-DD, moments in UTC, "" when empty.
func (v Value) Format(t Type) string {
	if !v.full {
		return ""
	}
	switch t {
	case Integer:
		return strconv.FormatInt(v.number, 10)
	case Decimal:
		return strconv.FormatFloat(v.fraction, 'f', -1, 64)
	case Boolean:
		return strconv.FormatBool(v.number != 0)
	case Day:
		return time.Unix(v.number*secondsPerDay, 0).UTC().Format(time.DateOnly)
	case Moment:
		return time.UnixMilli(v.number).UTC().Format("2006-01-02T15:04:05.000Z")
	}
	return v.text
}
