package table

import (
	"io"
	"reflect"
	"strings"

	"github.com/parquet-go/parquet-go"
)

// Parquet writes rows as Apache Parquet: strings, 64-bit integers and doubles,
// booleans, DATE and TIMESTAMP in milliseconds UTC; compressed with Zstandard.
type Parquet struct {
	table *Table
	out   *parquet.GenericWriter[any]
	batch []parquet.Row
	cells []parquet.Value
}

const (
	batchRows    = 256
	rowsPerGroup = 100_000
)

// NewParquet returns a Parquet for the table.
func NewParquet(t *Table, w io.Writer) *Parquet {
	out := parquet.NewGenericWriter[any](w, t.schema(), parquet.Compression(&parquet.Zstd),
		// Neither version nor time: the same rows give the same bytes.
		parquet.CreatedBy("enbloc", "1", "tables"), parquet.MaxRowsPerRowGroup(rowsPerGroup))
	return &Parquet{table: t, out: out, cells: make([]parquet.Value, 0, batchRows*len(t.Columns))}
}

// schema keeps the order of the columns, for which the library wants a struct.
func (t *Table) schema() *parquet.Schema {
	fields := make([]reflect.StructField, len(t.Columns))
	for i, c := range t.Columns {
		kind, tag := reflect.TypeFor[string](), c.Name+",dict"
		switch c.Type {
		case Integer:
			kind, tag = reflect.TypeFor[int64](), c.Name
		case Decimal:
			kind, tag = reflect.TypeFor[float64](), c.Name
		case Boolean:
			kind, tag = reflect.TypeFor[bool](), c.Name
		case Day:
			kind, tag = reflect.TypeFor[int32](), c.Name+",date"
		case Moment:
			kind, tag = reflect.TypeFor[int64](), c.Name+",timestamp(millisecond)"
		}
		if c.Name == "case_key" {
			tag = c.Name // each key is new: a dictionary would only grow
		}
		if !c.Required {
			tag += ",optional"
		}
		name := "F" + strings.ToUpper(c.Name)
		fields[i] = reflect.StructField{Name: name, Type: kind, Tag: reflect.StructTag(`parquet:"` + tag + `"`)}
	}
	row := reflect.New(reflect.StructOf(fields)).Elem().Interface()
	named := parquet.SchemaOf(row)
	return parquet.NewSchema(t.Name, named)
}

// Write adds one row.
func (p *Parquet) Write(row []Value) error {
	from := len(p.cells)
	for i, v := range row {
		c := &p.table.Columns[i]
		switch {
		case c.Required:
			p.cells = append(p.cells, v.parquet(c.Type).Level(0, 0, i))
		case v.full:
			p.cells = append(p.cells, v.parquet(c.Type).Level(0, 1, i))
		default:
			p.cells = append(p.cells, parquet.NullValue().Level(0, 0, i))
		}
	}
	p.batch = append(p.batch, p.cells[from:])
	if len(p.batch) < batchRows {
		return nil
	}
	return p.flush()
}

func (p *Parquet) flush() error {
	_, err := p.out.WriteRows(p.batch)
	p.batch, p.cells = p.batch[:0], p.cells[:0]
	return err
}

// Close writes the footer.
func (p *Parquet) Close() error {
	if err := p.flush(); err != nil {
		return err
	}
	return p.out.Close()
}

func (v Value) parquet(t Type) parquet.Value {
	switch t {
	case Integer, Moment:
		return parquet.Int64Value(v.number)
	case Decimal:
		return parquet.DoubleValue(v.fraction)
	case Boolean:
		return parquet.BooleanValue(v.number != 0)
	case Day:
		return parquet.Int32Value(int32(v.number)) //nolint:gosec // days since 1970 fit
	}
	return parquet.ByteArrayValue([]byte(v.text))
}
