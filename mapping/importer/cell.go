package importer

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"enbloc/mapping/report"
)

// value reads one cell. A nil value says nothing and is left out; the reason is
// empty when the cell could be read.
func (m *Mapping) value(c *Column, cell string) (value any, reason string) {
	cell = strings.TrimSpace(cell)
	switch {
	case cell == "" || slices.Contains(m.Missing, cell):
		return nil, ""
	case slices.Contains(m.Unknown, cell):
		return string(report.Unknown), ""
	case c.Values != nil:
		v, ok := c.Values[cell]
		if !ok {
			return nil, "This word is not among the values of the mapping file. Add it there with its meaning, or correct the table."
		}
		return v, ""
	case c.Number:
		return number(cell, c.Comma)
	case c.Time != "":
		return moment(cell, c)
	}
	return cell, ""
}

func number(cell string, comma bool) (any, string) {
	if comma {
		if strings.Contains(cell, ".") {
			return nil, "With a decimal comma, a point can mean thousands or a decimal: which one cannot be told."
		}
		cell = strings.Replace(cell, ",", ".", 1)
	}
	if _, err := report.NewNumber(cell); err != nil {
		return nil, "This is not a plain decimal."
	}
	return json.Number(cell), ""
}

// moment reads a time of the clock on the wall. An hour that the clock showed
// twice, or never, is refused: which one was meant cannot be told.
func moment(cell string, c *Column) (any, string) {
	at, err := time.ParseInLocation(c.Time, cell, c.location)
	if err != nil {
		return nil, "This does not have the layout " + c.Time + "."
	}
	const wall = "2006-01-02T15:04:05"
	written, err := time.Parse(c.Time, cell)
	if err != nil || written.Format(wall) != at.Format(wall) {
		return nil, "The clock never showed this hour: it was put forward."
	}
	for _, other := range []time.Duration{-time.Hour, time.Hour} {
		if at.Add(other).Format(wall) == at.Format(wall) {
			return nil, "The clock showed this hour twice: which one was meant cannot be told."
		}
	}
	return at.Format(time.RFC3339), ""
}
