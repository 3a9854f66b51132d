package importer

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// former is the mapping of an invented unit's former list.
const former = `{
  "version": 1, "delimiter": ";",
  "constants": {
    "/test_data": true, "/source_system": "https://hospital.example/former-list", "/report_id/system": "https://hospital.example/sid/former-list",
    "/patient/identifier/system": "https://hospital.example/sid/patient", "/written_at": "2026-03-10T12:00:00+01:00",
    "/session/kind": "upper-endoscopy", "/lesions/0/number": 1, "/lesions/0/examination/organ": "stomach"
  },
  "missing": ["-"], "unknown": ["?"],
  "columns": [
    {"column": "No", "to": "/report_id/value"},
    {"column": "Patient", "to": "/patient/identifier/value"},
    {"column": "Name", "ignore": true},
    {"column": "Begin", "to": "/session/start", "time": "02.01.2006 15:04", "zone": "Europe/Berlin"},
    {"column": "End", "to": "/session/end", "time": "02.01.2006 15:04", "zone": "Europe/Berlin"},
    {"column": "Size", "to": "/lesions/0/examination/size_long_mm", "number": true, "comma": true},
    {"column": "How", "to": "/lesions/0/resection/technique", "values": {"E": "esd", "M": "emr"}},
    {"column": "Pieces", "to": "/lesions/0/resection/pieces", "number": true}
  ]
}`

const header = "No;Patient;Name;Begin;End;Size;How;Pieces\n"

func mapping(t *testing.T) *Mapping {
	t.Helper()
	m, err := Read([]byte(former))
	require.NoError(t, err)
	return m
}

func TestGoodRowsBecomeDrafts(t *testing.T) {
	t.Parallel()
	r, err := mapping(t).Table(strings.NewReader("\uFEFF" + header +
		"HTEST-1;HTEST-P1;Nobody;10.03.2026 09:00;10.03.2026 10:00;12,50;E;1\n" +
		"HTEST-2;HTEST-P2;Nobody;10.07.2026 09:00;10.07.2026 10:00;?;M;-\n"))
	require.NoError(t, err)
	require.Empty(t, r.Refused)
	require.Len(t, r.Drafts, 2)
	var rep report.Report
	require.NoError(t, json.Unmarshal(r.Drafts[0].JSON, &rep))
	require.Equal(t, report.Draft, rep.Status)
	require.Equal(t, "12.50", rep.Lesions[0].Examination.SizeLongMm.Text(), "digits are kept")
	require.Equal(t, "2026-03-10T09:00:00+01:00", rep.Session.Start.Text())
	require.Equal(t, report.ESD, rep.Lesions[0].Resection.Technique)
	require.NotContains(t, string(r.Drafts[0].JSON), "Nobody")
	rep = report.Report{}
	require.NoError(t, json.Unmarshal(r.Drafts[1].JSON, &rep))
	require.Equal(t, report.Unknown, rep.Lesions[0].Examination.SizeLongMm.Absence(), "unknown is not left out")
	require.False(t, rep.Lesions[0].Resection.Pieces.Reported(), "left out is not unknown")
	require.Equal(t, "2026-07-10T09:00:00+02:00", rep.Session.Start.Text(), "summer time")
}

// TestRefusals: row, column and reason, and no cell repeated.
func TestRefusals(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ row, column, reason string }{
		"a word that nobody explained":    {"1;P;N;10.03.2026 09:00;10.03.2026 10:00;12;HTESTX;1", "How", "not among the values"},
		"a word for a number":             {"1;P;N;10.03.2026 09:00;10.03.2026 10:00;HTESTX;E;1", "Size", "plain decimal"},
		"a point beside a comma":          {"1;P;N;10.03.2026 09:00;10.03.2026 10:00;1.234;E;1", "Size", "thousands"},
		"another layout":                  {"1;P;N;2026-03-10 09:00;10.03.2026 10:00;12;E;1", "Begin", "layout"},
		"an hour that came twice":         {"1;P;N;25.10.2026 02:30;25.10.2026 04:00;12;E;1", "Begin", "twice"},
		"an hour that never came":         {"1;P;N;29.03.2026 02:30;29.03.2026 04:00;12;E;1", "Begin", "never"},
		"a figure out of range":           {"1;P;N;10.03.2026 09:00;10.03.2026 10:00;12;E;0", "Pieces", ""},
		"an end before the beginning":     {"1;P;N;10.03.2026 09:00;10.03.2026 08:00;12;E;1", "End", ""},
		"a required field that is not in": {"-;P;N;10.03.2026 09:00;10.03.2026 10:00;12;E;1", "No", "missing"},
		"too few cells":                   {"1;P;N", "", "3 cells"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r, err := mapping(t).Table(strings.NewReader(header + c.row + "\n"))
			require.NoError(t, err)
			require.Empty(t, r.Drafts)
			require.NotEmpty(t, r.Refused)
			require.Equal(t, 2, r.Refused[0].Row)
			require.Equal(t, c.column, r.Refused[0].Column, fmt.Sprint(r.Refused))
			require.Contains(t, r.Refused[0].Reason, c.reason)
			require.NotContains(t, fmt.Sprint(r.Refused), "HTESTX")
		})
	}
	same := "HTEST-1;P;N;10.03.2026 09:00;10.03.2026 10:00;12;E;1\n"
	r, err := mapping(t).Table(strings.NewReader(header + same + same))
	require.NoError(t, err)
	require.Len(t, r.Drafts, 1)
	require.Contains(t, r.Refused[0].Reason, "Row 2")
}

func TestTablesThatCannotBeRead(t *testing.T) {
	t.Parallel()
	for name, table := range map[string]string{
		"nothing":          "",
		"a new column":     "Extra;" + header,
		"a missing column": strings.Replace(header, ";Pieces", "", 1),
		"a column twice":   strings.Replace(header, "No;", "No;No;", 1),
		"a broken quote":   header + "\"1;P\n",
	} {
		_, err := mapping(t).Table(strings.NewReader(table))
		require.Error(t, err, name)
	}
}

func TestBrokenMappingFiles(t *testing.T) {
	t.Parallel()
	for name, c := range map[string][3]string{
		"no JSON":                 {"{", "", "reading mapping file"},
		"another version":         {`"version": 1`, `"version": 2`, "version 2"},
		"an unknown member":       {`"ignore"`, `"skip"`, "skip"},
		"a column for nothing":    {`, "to": "/report_id/value"`, ``, "say where it goes"},
		"no pointer":              {`"/report_id/value"`, `"report_id.value"`, "JSON Pointer"},
		"a signed draft":          {`"/test_data": true`, `"/status": "signed"`, "set by the import"},
		"one field twice":         {`"/lesions/0/resection/pieces"`, `"/lesions/0/number"`, "already"},
		"a field within another":  {`"/lesions/0/resection/pieces"`, `"/lesions/0"`, "already"},
		"a zone that is not":      {`"Europe/Berlin"`, `"Europe/Moon"`, "no zone"},
		"a time without zone":     {`, "zone": "Europe/Berlin"`, ``, "zone"},
		"two kinds":               {`"number": true, "comma": true`, `"number": true, "values": {}`, "one of"},
		"a column that is twice":  {`"column": "Pieces"`, `"column": "Size"`, "that of another"},
		"a delimiter of two":      {`"delimiter": ";"`, `"delimiter": ";;"`, "one character"},
		"ignored and mapped":      {`"ignore": true`, `"ignore": true, "to": "/plan"`, "ignored"},
		"a comma without number":  {`"number": true, "comma": true`, `"comma": true`, "belongs"},
		"constants and no column": {former[strings.Index(former, `"columns"`):], `"columns": []}`, "no column"},
	} {
		raw := strings.Replace(former, c[0], c[1], 1)
		require.NotEqual(t, former, raw, name)
		_, err := Read([]byte(raw))
		require.ErrorContains(t, err, c[2], name)
	}
}
