package report

import (
	"encoding/json"
	"errors"
	"time"
)

// Time is a moment with its zone, written as RFC 3339 to the second
// ("2026-03-10T09:20:00+01:00"). It keeps the text it was read with, so zone
// and precision reach the record unchanged. The zero Time was left out.
type Time struct {
	text string
	at   time.Time
}

var (
	errTime = errors.New("not a time with seconds and zone, such as 2026-03-10T09:20:00+01:00")
	errDate = errors.New("not a date such as 2026, 2026-03 or 2026-03-10")
)

// ParseTime reads an RFC 3339 time with zone.
func ParseTime(s string) (Time, error) {
	at, err := time.Parse(time.RFC3339, s)
	if err != nil || at.Year() < 1900 {
		return Time{}, errTime
	}
	return Time{text: s, at: at}, nil
}

// Text is the time as it was written.
func (t Time) Text() string { return t.text }

// At is the moment.
func (t Time) At() time.Time { return t.at }

// IsZero reports whether the field was left out.
func (t Time) IsZero() bool { return t.text == "" }

// Day is the calendar day in the zone it was written in, as YYYY-MM-DD.
func (t Time) Day() string {
	if t.text == "" {
		return ""
	}
	return t.text[:len("2006-01-02")]
}

// MarshalJSON writes the time as it was read.
func (t Time) MarshalJSON() ([]byte, error) { return json.Marshal(t.text) }

// UnmarshalJSON reads an RFC 3339 time with zone.
func (t *Time) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return errTime
	}
	parsed, err := ParseTime(s)
	if err != nil {
		return err
	}
	*t = parsed
	return nil
}

// Date is a day, a month or a year: YYYY-MM-DD, YYYY-MM or YYYY. A partial
// date stays partial. The empty Date was left out.
type Date string

// Valid reports whether d is a date of the calendar, whole or partial.
func (d Date) Valid() bool {
	for _, layout := range []string{"2006-01-02", "2006-01", "2006"} {
		if _, err := time.Parse(layout, string(d)); err == nil {
			return true
		}
	}
	return false
}

// UnmarshalJSON reads a whole or partial date.
func (d *Date) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil || !Date(s).Valid() {
		return errDate
	}
	*d = Date(s)
	return nil
}
