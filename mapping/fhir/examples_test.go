package fhir_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/testdata/cases"
)

// bundles names a folder to write every stage's Bundle to, for a validator of
// others: go test ./mapping/fhir -run Examples -bundles DIR.
var bundles = flag.String("bundles", "", "folder to write the example cases' Bundles to, stage by stage")

// stages plays a case and returns it as it stands after each document.
func stages(t testing.TB, c cases.Case) []report.Report {
	t.Helper()
	var (
		out       []report.Report
		rep       report.Report
		histology []report.HistologyPart
		events    []report.EventsPart
	)
	for _, d := range c.Documents {
		switch d.Kind {
		case cases.Report:
			rep = report.Report{}
			require.NoError(t, json.Unmarshal(d.JSON, &rep))
		case cases.Histology:
			var part report.HistologyPart
			require.NoError(t, json.Unmarshal(d.JSON, &part))
			histology = append(histology, part)
		case cases.Events:
			var part report.EventsPart
			require.NoError(t, json.Unmarshal(d.JSON, &part))
			events = append(events, part)
		}
		merged, _ := report.Merge(rep, histology, events)
		out = append(out, merged)
	}
	return out
}

// Every stage of every example maps to a graph that passes its own checks,
// with and without codes that need a licence.
func TestMapExamples(t *testing.T) {
	t.Parallel()
	book := assess.DefaultBook()
	for _, c := range cases.All() {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			for i, rep := range stages(t, c) {
				for _, licensed := range []bool{false, true} {
					opt := options()
					opt.Sequence, opt.Licensed, opt.BookVersion = i+1, licensed, book.Version
					g, err := fhir.Map(rep, book.Assess(rep), opt)
					require.NoError(t, err)
					if *bundles != "" {
						name := fmt.Sprintf("%s-%d-%t.json", c.Name, i+1, licensed)
						require.NoError(t, os.WriteFile(filepath.Join(*bundles, name), fhir.Bundle(g), 0o600))
					}
				}
			}
		})
	}
}
