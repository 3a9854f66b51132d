package table

import (
	"encoding/csv"
	"io"
)

// Writer takes rows of one table and ends a file in good order.
type Writer interface {
	Write(row []Value) error
	// Close writes what is still held back. It does not close what is below.
	Close() error
}

// CSV writes rows as RFC 4180 text in UTF-8, lines ended by LF, with a header.
type CSV struct {
	table  *Table
	out    *csv.Writer
	fields []string
}

// NewCSV returns a CSV for the table; the header is written at once.
func NewCSV(t *Table, w io.Writer) (*CSV, error) {
	c := &CSV{table: t, out: csv.NewWriter(w), fields: make([]string, len(t.Columns))}
	for i, column := range t.Columns {
		c.fields[i] = column.Name
	}
	return c, c.out.Write(c.fields)
}

// Write adds one row.
func (c *CSV) Write(row []Value) error {
	for i, v := range row {
		c.fields[i] = v.Format(c.table.Columns[i].Type)
	}
	return c.out.Write(c.fields)
}

// Close flushes.
func (c *CSV) Close() error {
	c.out.Flush()
	return c.out.Error()
}
