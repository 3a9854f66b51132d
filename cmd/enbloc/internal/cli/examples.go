package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/schemas"
	"enbloc/testdata/cases"
)

func newExamples(s Streams) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:     "examples --out DIR",
		GroupID: lookUp,
		Short:   "Write the Bundle of every example case at every stage",
		Long: `Write the FHIR transaction Bundle of every invented example case, after each of
its documents, as <case>-<nn>-<stage>.json: input for validators and for whoever
wants to see what a record looks like. The identities are those of an example key.`,
		Args: none,
		RunE: func(_ *cobra.Command, _ []string) error {
			if out == "" {
				return usagef("examples needs --out DIR\nSee: enbloc examples --help")
			}
			var files []file
			for _, c := range cases.All() {
				bundles, err := stages(c)
				if err != nil {
					return err
				}
				files = append(files, bundles...)
			}
			return s.writeFiles(out, files)
		},
	}
	c.Flags().StringVar(&out, "out", "", "`DIR` to write to (required)")
	return c
}

// stages is the Bundle of a case after each document. A part that comes before
// its report waits for it, so nothing is written for it.
func stages(c cases.Case) ([]file, error) {
	pipeline := mapping.New(exampleKey)
	var rep report.Report
	var earlier []report.Report
	var histology []report.HistologyPart
	var events []report.EventsPart
	var files []file
	for i, d := range c.Documents {
		var findings []report.Finding
		switch d.Kind {
		case cases.Report:
			if rep.Revision > 0 {
				earlier = append(earlier, rep)
			}
			rep, findings = schemas.DecodeReport(d.JSON)
		case cases.Histology:
			var part report.HistologyPart
			part, findings = schemas.DecodeHistology(d.JSON)
			histology = append(histology, part)
		case cases.Events:
			var part report.EventsPart
			part, findings = schemas.DecodeEvents(d.JSON)
			events = append(events, part)
		}
		if report.Rejects(findings) {
			return nil, fmt.Errorf("reading example %s/%s: %s %s", c.Name, d.File, findings[0].Pointer, findings[0].Text)
		}
		if rep.Schema == "" {
			continue
		}
		merged, _ := report.Merge(rep, histology, events)
		g, err := pipeline.Map(merged, i+1, report.MergeEach(earlier, histology, events)...)
		if err != nil {
			return nil, fmt.Errorf("mapping example %s/%s: %w", c.Name, d.File, err)
		}
		files = append(files, file{c.Name + "-" + strings.TrimSuffix(d.File, ".json") + ".json", fhir.Bundle(g)})
	}
	return files, nil
}
