package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// cases are those of the sample that together use every field, and a cohort.
func cases(t *testing.T) []Case {
	t.Helper()
	book := assess.DefaultBook()
	var out []Case
	add := func(c sample.Case) {
		merged := c.Merged()
		out = append(out, Case{Key: fmt.Sprintf("c%040x", len(out)), Sequence: 1, Report: merged, Results: book.Assess(merged),
			Opaque:     func(id report.Identifier) string { return fmt.Sprintf("o%x", len(id.Value)) },
			Deliveries: []Delivery{{Sequence: 1, Target: "t", State: "delivered", Attempts: 1, Created: merged.WrittenAt.At(), Updated: merged.WrittenAt.At()}},
		})
	}
	for _, c := range sample.Cover(sample.CoverAll) {
		add(c)
	}
	for c := range sample.Cohort(200, 3) {
		add(c)
	}
	return out
}

func TestEveryColumnIsDeclaredOnce(t *testing.T) {
	t.Parallel()
	for _, table := range All() {
		seen := map[string]bool{}
		keys := 0
		for _, c := range table.Columns {
			require.Regexp(t, `^[a-z][a-z0-9_]*$`, c.Name)
			require.False(t, seen[c.Name], "%s.%s", table.Name, c.Name)
			seen[c.Name] = true
			require.NotEmpty(t, c.Description, c.Name)
			require.NotEmpty(t, c.Source, c.Name)
			require.False(t, c.Key && !c.Required, c.Name)
			if c.Key {
				keys++
			}
		}
		require.Positive(t, keys, table.Name)
		require.Equal(t, -1, table.Index("patient"))
	}
}

func TestRowsKeepTheirPromises(t *testing.T) {
	t.Parallel()
	filled, rows := map[string]int{}, map[string]int{}
	keys := map[string]bool{}
	for _, c := range cases(t) {
		for _, table := range All() {
			for _, row := range table.Rows(c) {
				rows[table.Name]++
				key := table.Name
				for i, column := range table.Columns {
					require.False(t, column.Required && row[i].Empty(), "%s.%s is empty", table.Name, column.Name)
					if !row[i].Empty() {
						filled[table.Name+"."+column.Name]++
					}
					if column.Key {
						key += "|" + row[i].Format(column.Type)
					}
				}
				require.False(t, keys[key], "two rows are named %s", key)
				keys[key] = true
			}
		}
	}
	for _, table := range All() {
		require.Positive(t, rows[table.Name])
		for _, c := range table.Columns {
			if table == Deliveries && c.Name == "reason" {
				continue // none of the deliveries here has one
			}
			require.Positive(t, filled[table.Name+"."+c.Name], "%s.%s is never filled", table.Name, c.Name)
		}
	}
}

// TestNothingIdentifiesAnybody plants a mark into every text of the report that
// is an identifier or free text and looks for it in every cell.
func TestNothingIdentifiesAnybody(t *testing.T) {
	t.Parallel()
	marked := regexp.MustCompile(`("(?:value|text|url|title|content|reason|status_reason|indication_text|technique_reason|comment|stop_text|id)":)"[^"]*"`)
	planted := 0
	for _, c := range cases(t) {
		raw, err := json.Marshal(c.Report)
		require.NoError(t, err)
		planted += len(marked.FindAll(raw, -1))
		raw = marked.ReplaceAll(raw, []byte(`$1"PLANTED"`))
		var rep report.Report
		require.NoError(t, json.Unmarshal(raw, &rep))
		c.Report, c.Results = rep, assess.DefaultBook().Assess(rep)
		for _, table := range All() {
			for _, row := range table.Rows(c) {
				for i, v := range row {
					require.NotContains(t, v.Text(), "PLANTED", "%s.%s", table.Name, table.Columns[i].Name)
					require.NotContains(t, v.Text(), "HTEST", "%s.%s", table.Name, table.Columns[i].Name)
				}
			}
		}
	}
	require.Greater(t, planted, 5000)
}

func TestAWithdrawnCaseSaysNothingElse(t *testing.T) {
	t.Parallel()
	c := cases(t)[0]
	c.Report.Status = report.Withdrawn
	row := Cases.Rows(c)[0]
	require.Equal(t, "withdrawn", row[Cases.Index("status")].Text())
	require.True(t, row[Cases.Index("session_date")].Empty())
	for _, table := range []*Table{Lesions, Resections, Histology, Assessments, Events} {
		require.Empty(t, table.Rows(c), table.Name)
	}
}

// TestParquetHoldsTheSameAsCSV reads both back, Parquet by its library.
func TestParquetHoldsTheSameAsCSV(t *testing.T) {
	t.Parallel()
	all := cases(t)
	for _, table := range All() {
		var text, columns, again bytes.Buffer
		c, err := NewCSV(table, &text)
		require.NoError(t, err)
		writers := []Writer{c, NewParquet(table, &columns), NewParquet(table, &again)}
		for _, one := range all {
			for _, row := range table.Rows(one) {
				for _, w := range writers {
					require.NoError(t, w.Write(row))
				}
			}
		}
		for _, w := range writers {
			require.NoError(t, w.Close())
		}
		require.True(t, bytes.Equal(columns.Bytes(), again.Bytes()), "%s: equal rows, unequal bytes", table.Name)
		lines, err := csv.NewReader(&text).ReadAll()
		require.NoError(t, err)
		require.Equal(t, lines[1:], readParquet(t, table, columns.Bytes()), table.Name)
	}
}

func readParquet(t *testing.T, table *Table, raw []byte) [][]string {
	t.Helper()
	r := parquet.NewGenericReader[any](bytes.NewReader(raw))
	var out [][]string
	buffer := make([]parquet.Row, 100)
	for {
		n, err := r.ReadRows(buffer)
		for _, row := range buffer[:n] {
			line := make([]string, len(row))
			for i, v := range row {
				line[i] = fromParquet(v).Format(table.Columns[i].Type)
			}
			out = append(out, line)
		}
		if err == io.EOF {
			return out
		}
		require.NoError(t, err)
	}
}

func fromParquet(v parquet.Value) Value {
	switch v.Kind() {
	case parquet.ByteArray:
		return text(strings.Clone(string(v.ByteArray())))
	case parquet.Double:
		return decimal(v.Double())
	case parquet.Boolean:
		return boolean(v.Boolean())
	case parquet.Int32:
		return Value{full: true, number: int64(v.Int32())}
	case parquet.Int64:
		return Value{full: true, number: v.Int64()}
	}
	return Value{}
}

// TestWhatHappened: no record of an event is never a "no".
func TestWhatHappened(t *testing.T) {
	t.Parallel()
	cell := func(rep report.Report, column string) string {
		c := Case{Key: "c", Sequence: 1, Report: rep, Results: assess.DefaultBook().Assess(rep)}
		return Resections.Rows(c)[0][Resections.Index(column)].Text()
	}
	rep := func(muscle report.MuscleInjury, lesions int, events ...report.Event) report.Report {
		out := report.Report{Status: report.Signed, Events: events}
		out.Session.Start, _ = report.ParseTime("2026-03-01T09:00:00Z")
		out.Session.End, _ = report.ParseTime("2026-03-01T10:00:00Z")
		for i := range lesions {
			out.Lesions = append(out.Lesions, report.Lesion{Number: i + 1, Examination: report.Examination{Organ: report.Colon},
				Resection: &report.Resection{Technique: report.ESD, Muscle: muscle}})
		}
		return out
	}
	event := func(kind report.EventKind, lesion int, when string) report.Event {
		e := report.Event{ID: "e", Kind: kind, Timing: report.AfterSession, Lesion: lesion, Symptoms: []report.Symptom{report.Melaena}, EmergencyEndoscopy: report.Yes}
		e.OccurredAt, _ = report.ParseTime(when)
		return e
	}
	hole := event(report.EventPerforation, 1, "2026-03-02T09:00:00Z")
	require.Equal(t, "cannot-be-assessed", cell(rep("", 1), "perforation"))
	require.Equal(t, "cannot-be-assessed", cell(rep("unknown", 1), "perforation"))
	require.Equal(t, "no", cell(rep("0", 1), "perforation"))
	require.Equal(t, "yes", cell(rep("IV", 1), "perforation"))
	require.Equal(t, "yes", cell(rep("0", 1, hole), "perforation"))
	require.Equal(t, "yes", cell(rep("", 1, hole), "delayed_perforation"))
	bled := func(day string) report.Event { return event(report.EventBleeding, 1, day) }
	require.Equal(t, "none-recorded", cell(rep("0", 1), "delayed_bleeding_30d"))
	require.Equal(t, "yes", cell(rep("0", 1, bled("2026-03-29T09:00:00Z")), "delayed_bleeding_28d"))
	require.Equal(t, "no", cell(rep("0", 1, bled("2026-03-30T09:00:00Z")), "delayed_bleeding_28d"))
	require.Equal(t, "yes", cell(rep("0", 1, bled("2026-03-31T09:00:00Z")), "delayed_bleeding_30d"))
	require.Equal(t, "no", cell(rep("0", 1, bled("2026-04-01T09:00:00Z")), "delayed_bleeding_30d"))
	require.Equal(t, "cannot-be-assessed", cell(rep("0", 2, event(report.EventBleeding, 0, "2026-03-02T09:00:00Z")), "delayed_bleeding_30d"))
	require.Equal(t, "none-recorded", cell(rep("0", 2, event(report.EventBleeding, 2, "2026-03-02T09:00:00Z")), "delayed_bleeding_30d"))
	retracted := bled("2026-03-02T09:00:00Z")
	retracted.Retracted = true
	require.Equal(t, "none-recorded", cell(rep("0", 1, retracted), "delayed_bleeding_30d"))
}
