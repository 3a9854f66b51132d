package sample_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/check"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// No check calls an invented case wrong, neither the report by itself nor a
// part nor the whole; warnings and advice are part of life.
func TestCasesAreConsistent(t *testing.T) {
	t.Parallel()
	all := sample.Cover(sample.CoverAll)
	for c := range sample.Cohort(500, 3) {
		all = append(all, c)
	}
	for _, c := range all {
		name := c.Report.ReportID.Value
		requireNoErrors(t, name, check.Check(c.Report))
		for _, part := range c.Histology {
			requireNoErrors(t, name, check.CheckHistology(part))
		}
		for _, part := range c.Events {
			requireNoErrors(t, name, check.CheckEvents(part))
		}
		merged, findings := report.Merge(c.Report, c.Histology, c.Events)
		requireNoErrors(t, name, findings)
		requireNoErrors(t, name, check.Check(merged))
	}
}

func requireNoErrors(t *testing.T, name string, findings []report.Finding) {
	t.Helper()
	for _, f := range findings {
		require.NotEqual(t, report.Error, f.Severity, "%s: %+v", name, f)
	}
}

// Odd things are rarer in a cohort than in a cover: an ordinary case trips few
// checks.
func TestCohortIsOrdinary(t *testing.T) {
	t.Parallel()
	warnings, cases := 0, 0
	for c := range sample.Cohort(1000, 5) {
		cases++
		for _, f := range check.Check(c.Merged()) {
			if f.Severity == report.Warning {
				warnings++
			}
		}
	}
	require.Less(t, float64(warnings)/float64(cases), 0.25)
}
