package mapping_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/check"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/schemas"
	"enbloc/testdata/cases"
)

var update = flag.Bool("update", false, "rewrite the golden files of testdata/cases")

// goldenKey makes the identities in the golden bundles; it is no secret.
var goldenKey = []byte("golden files, not a secret")

// state is a case as it stands after some of its documents.
type state struct {
	report    report.Report
	earlier   []report.Report
	histology []report.HistologyPart
	events    []report.EventsPart
}

// take adds one document; a later revision of the report replaces the whole.
func (s *state) take(t *testing.T, d cases.Document) {
	t.Helper()
	var findings []report.Finding
	switch d.Kind {
	case cases.Report:
		if s.report.Revision > 0 {
			s.earlier = append(s.earlier, s.report)
		}
		s.report, findings = schemas.DecodeReport(d.JSON)
	case cases.Histology:
		var part report.HistologyPart
		part, findings = schemas.DecodeHistology(d.JSON)
		findings = append(findings, check.CheckHistology(part)...)
		s.histology = append(s.histology, part)
	case cases.Events:
		var part report.EventsPart
		part, findings = schemas.DecodeEvents(d.JSON)
		findings = append(findings, check.CheckEvents(part)...)
		s.events = append(s.events, part)
	}
	require.False(t, report.Rejects(findings), "%s: %+v", d.File, findings)
}

// TestCases plays every example case and compares what comes of it with the
// golden files, read by eye: after each document the findings and the
// assessment, after the last the Bundle. Rewritten by
// go test ./mapping -run TestCases -update.
func TestCases(t *testing.T) {
	t.Parallel()
	for _, c := range cases.All() {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			want := filepath.Join("..", "testdata", "cases", c.Name, "want")
			if *update {
				require.NoError(t, os.RemoveAll(want))
				require.NoError(t, os.MkdirAll(want, 0o755))
			}
			play(t, c, want)
		})
	}
}

func play(t *testing.T, c cases.Case, want string) {
	t.Helper()
	pipeline := mapping.New(goldenKey)
	var s state
	for i, d := range c.Documents {
		s.take(t, d)
		merged, findings := report.Merge(s.report, s.histology, s.events)
		findings = append(findings, check.Check(merged)...)
		require.False(t, report.Rejects(findings), "%s: %+v", d.File, findings)
		stage := strings.TrimSuffix(d.File, ".json")
		golden(t, filepath.Join(want, stage+".findings.json"), encoded(t, map[string]any{"findings": orNone(findings)}))
		golden(t, filepath.Join(want, stage+".assessment.json"), encoded(t, map[string]any{"results": pipeline.Assess(merged)}))
		g, err := pipeline.Map(merged, i+1, report.MergeEach(s.earlier, s.histology, s.events)...)
		require.NoError(t, err)
		if i == len(c.Documents)-1 {
			golden(t, filepath.Join(want, "bundle.json"), fhir.Bundle(g))
		}
	}
}

// orNone writes an empty list as one.
func orNone(findings []report.Finding) []report.Finding {
	if findings == nil {
		return []report.Finding{}
	}
	return findings
}

func encoded(t *testing.T, v any) []byte {
	t.Helper()
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	require.NoError(t, enc.Encode(v))
	return out.Bytes()
}

// golden compares indented JSON with a file, or rewrites the file.
func golden(t *testing.T, file string, got []byte) {
	t.Helper()
	var pretty bytes.Buffer
	require.NoError(t, json.Indent(&pretty, bytes.TrimSpace(got), "", " "))
	pretty.WriteByte('\n')
	if *update {
		require.NoError(t, os.WriteFile(file, pretty.Bytes(), 0o644))
		return
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err, "rewrite the golden files with -update and read them")
	require.Equal(t, string(want), pretty.String(), file)
}

// Every file below want/ belongs to a document that is still there.
func TestCasesLeaveNoOldGoldens(t *testing.T) {
	t.Parallel()
	for _, c := range cases.All() {
		known := map[string]bool{"bundle.json": true}
		for _, d := range c.Documents {
			stage := strings.TrimSuffix(d.File, ".json")
			known[stage+".findings.json"], known[stage+".assessment.json"] = true, true
		}
		files, err := filepath.Glob(filepath.Join("..", "testdata", "cases", c.Name, "want", "*"))
		require.NoError(t, err)
		for _, file := range files {
			require.True(t, known[filepath.Base(file)], file)
		}
	}
}
