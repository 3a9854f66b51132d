package importer

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/check"
	"enbloc/mapping/report"
	"enbloc/schemas"
)

// Draft is one row as a draft report.
type Draft struct {
	Row  int // line of the table as a spreadsheet counts it: the header is 1
	JSON json.RawMessage
	// Warnings are findings that do not refuse the row.
	Warnings []report.Finding
}

// Refusal says why a row was not taken.
type Refusal struct {
	Row    int    `json:"row"`
	Column string `json:"column,omitempty"` // header, "" for the row as a whole
	// Pointer is the field of the report, Reason a sentence. Neither repeats
	// the cell.
	Pointer string `json:"pointer,omitempty"`
	Reason  string `json:"reason"`
}

// Result is what a table gave.
type Result struct {
	Rows    int
	Drafts  []Draft
	Refused []Refusal
}

// maxRows bounds a table, so that a wrong file is refused instead of filling the
// memory.
const maxRows = 100_000

// Table reads a table. An error means that the table as a whole could not be
// read; refused rows are in the result.
func (m *Mapping) Table(in io.Reader) (Result, error) {
	r := csv.NewReader(in)
	r.FieldsPerRecord = -1
	if m.Delimiter != "" {
		r.Comma = []rune(m.Delimiter)[0]
	}
	header, err := r.Read()
	if err != nil {
		return Result{}, fmt.Errorf("reading table: the header: %w", err)
	}
	header[0] = strings.TrimPrefix(header[0], "\uFEFF") // as spreadsheets write
	columns, err := m.columns(header)
	if err != nil {
		return Result{}, err
	}
	var out Result
	seen := map[report.Identifier]int{}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return Result{}, fmt.Errorf("reading table: %w", err)
		}
		if out.Rows++; out.Rows > maxRows {
			return Result{}, fmt.Errorf("reading table: it has more than %d rows: part it", maxRows)
		}
		draft, id, refused := m.row(columns, header, cells, out.Rows+1)
		if earlier := seen[id]; len(refused) == 0 && earlier > 0 {
			refused = []Refusal{{Row: draft.Row, Pointer: "/report_id", Reason: fmt.Sprintf("Row %d has the same report id.", earlier)}}
		}
		if len(refused) > 0 {
			out.Refused = append(out.Refused, refused...)
			continue
		}
		seen[id] = draft.Row
		out.Drafts = append(out.Drafts, draft)
	}
}

// columns finds the mapping of each header. A column that nobody mapped, and
// one that the table lacks, are errors: neither is passed over.
func (m *Mapping) columns(header []string) ([]*Column, error) {
	var errs []error
	out := make([]*Column, len(header))
	found := map[string]bool{}
	for i, name := range header {
		at := slices.IndexFunc(m.Columns, func(c Column) bool { return c.Column == name })
		switch {
		case at < 0:
			errs = append(errs, fmt.Errorf("reading table: the mapping file says nothing of the column %q: map it, or say that it is to be ignored", name))
		case found[name]:
			errs = append(errs, fmt.Errorf("reading table: the column %q stands there twice", name))
		default:
			out[i], found[name] = &m.Columns[at], true
		}
	}
	for _, c := range m.Columns {
		if !found[c.Column] {
			errs = append(errs, fmt.Errorf("reading table: it has no column %q, which the mapping file names", c.Column))
		}
	}
	return out, errors.Join(errs...)
}

func (m *Mapping) row(columns []*Column, header, cells []string, number int) (Draft, report.Identifier, []Refusal) {
	none := report.Identifier{}
	if len(cells) != len(header) {
		return Draft{Row: number}, none, []Refusal{{Row: number, Reason: fmt.Sprintf("The row has %d cells, the header has %d.", len(cells), len(header))}}
	}
	doc := map[string]any{"schema": report.SchemaReport, "status": string(report.Draft), "revision": 1}
	for to, v := range m.Constants {
		set(doc, strings.Split(to[1:], "/"), v)
	}
	var refused []Refusal
	for i, c := range columns {
		if c.Ignore {
			continue
		}
		v, reason := m.value(c, cells[i])
		if reason != "" {
			refused = append(refused, Refusal{number, c.Column, c.To, reason})
		} else if v != nil {
			set(doc, c.path, v)
		}
	}
	if len(refused) > 0 {
		return Draft{Row: number}, none, refused
	}
	raw, err := json.Marshal(listed(doc))
	if err != nil {
		return Draft{Row: number}, none, []Refusal{{Row: number, Reason: "The row cannot be written as a report."}}
	}
	return m.judge(raw, number)
}

// judge holds a document against the schema and the checks, as if somebody had
// sent it.
func (m *Mapping) judge(raw []byte, number int) (Draft, report.Identifier, []Refusal) {
	rep, findings := schemas.DecodeReport(raw)
	if !report.Rejects(findings) {
		findings = append(findings, check.Check(rep)...)
	}
	draft := Draft{Row: number, JSON: bytes.Clone(raw)}
	var refused []Refusal
	for _, f := range findings {
		if f.Severity != report.Error {
			draft.Warnings = append(draft.Warnings, f)
			continue
		}
		refused = append(refused, Refusal{number, m.origin(f.Pointer), f.Pointer, f.Text + " " + f.Mend})
	}
	return draft, rep.ReportID, refused
}

// origin is the column that a field came from, "" when it came from none.
func (m *Mapping) origin(pointer string) string {
	for _, c := range m.Columns {
		if !c.Ignore && (pointer == c.To || strings.HasPrefix(pointer, c.To+"/")) {
			return c.Column
		}
	}
	return ""
}

// set puts a value at a place of the tree. Lists are kept as objects with
// numbers for names until [listed] turns them.
func set(tree map[string]any, path []string, v any) {
	for _, name := range path[:len(path)-1] {
		next, ok := tree[name].(map[string]any)
		if !ok {
			next = map[string]any{}
			tree[name] = next
		}
		tree = next
	}
	tree[path[len(path)-1]] = v
}

// listed turns objects whose names are numbers into lists, in their order. A
// list with a gap closes: the second lesion of a row without a first is the
// only one.
func listed(v any) any {
	tree, ok := v.(map[string]any)
	if !ok {
		return v
	}
	var numbers []int
	for name, inner := range tree {
		tree[name] = listed(inner)
		if n, err := strconv.Atoi(name); err == nil {
			numbers = append(numbers, n)
		}
	}
	if len(numbers) == 0 || len(numbers) != len(tree) {
		return tree
	}
	slices.Sort(numbers)
	out := make([]any, len(numbers))
	for i, n := range numbers {
		out[i] = tree[strconv.Itoa(n)]
	}
	return out
}
