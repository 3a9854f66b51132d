package indicator

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/mapping/table"
)

var asOf = time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)

// cohort counts n invented cases.
func cohort(t *testing.T, n int, q Query) Report {
	t.Helper()
	q.TestData, q.AsOf = true, asOf
	tally, err := New(Standard(), q)
	require.NoError(t, err)
	book, i := assess.DefaultBook(), 0
	for c := range sample.Cohort(n, 11) {
		merged := c.Merged()
		i++
		tally.Add(table.Case{Key: fmt.Sprint(i), Sequence: 1, Report: merged, Results: book.Assess(merged),
			Opaque: func(id report.Identifier) string { return "p" + id.Value[len(id.Value)-1:] }})
	}
	return tally.Report()
}

func of(t *testing.T, r Report, id, group string) Result {
	t.Helper()
	for _, x := range r.Results {
		if x.Indicator == id && x.Group == group {
			return x
		}
	}
	require.FailNow(t, "no such result", "%s %s", id, group)
	return Result{}
}

// TestTheTenAreThere: Ann Transl Med 2018;6:262, Table 1 names ten.
func TestTheTenAreThere(t *testing.T) {
	t.Parallel()
	seen := map[int]bool{}
	for _, d := range Standard().Indicators {
		seen[d.Ten] = true
		require.NotContains(t, d.Source, "$")
		require.Greater(t, len(d.Source), 15, "%s has no citation", d.ID)
	}
	for n := 1; n <= 10; n++ {
		require.True(t, seen[n], n)
	}
}

// TestCohortLiesWhereItWasPut: the cohort was made after published series (see
// package sample), so its figures have to lie near them.
func TestCohortLiesWhereItWasPut(t *testing.T) {
	t.Parallel()
	r := cohort(t, 4000, Query{})
	for id, want := range map[string]float64{"en-bloc": 0.955, "perforation": 0.03, "delayed-bleeding-30d": 0.03} {
		got := of(t, r, id, "")
		require.InDelta(t, want, *got.Rate, 0.02, id)
		require.LessOrEqual(t, *got.Lower, *got.Rate)
		require.GreaterOrEqual(t, *got.Upper, *got.Rate)
		require.LessOrEqual(t, *got.IfNo, *got.Rate)
		require.GreaterOrEqual(t, *got.IfYes, *got.Rate)
		require.Positive(t, *got.NotEvaluable+*got.Excluded, id)
	}
	require.NotEmpty(t, r.Results)
}

// TestPartsAddUp: parted figures have to give the whole, whatever the way.
func TestPartsAddUp(t *testing.T) {
	t.Parallel()
	wholeReport := cohort(t, 600, Query{SmallCell: 1})
	for _, by := range Ways() {
		parts := cohort(t, 600, Query{By: by, SmallCell: 1})
		for _, d := range Standard().Indicators {
			sum := [4]int{}
			for _, x := range parts.Results {
				if x.Indicator == d.ID {
					for i, n := range []*int{x.Numerator, x.Denominator, x.Excluded, x.NotEvaluable} {
						if n != nil {
							sum[i] += *n
						}
					}
				}
			}
			want := of(t, wholeReport, d.ID, "")
			for i, n := range []*int{want.Numerator, want.Denominator, want.Excluded, want.NotEvaluable} {
				if n != nil {
					require.Equal(t, *n, sum[i], "%s by %s", d.ID, by)
				}
			}
		}
	}
}

func TestSmallCellsAreSuppressed(t *testing.T) {
	t.Parallel()
	r := cohort(t, 300, Query{By: "site"})
	small, sibling := 0, 0
	for _, x := range r.Results {
		switch x.Note {
		case noteSmall, noteSibling:
			require.Nil(t, x.Numerator)
			require.Nil(t, x.Denominator)
			require.Nil(t, x.Rate)
			require.Nil(t, x.NotEvaluable)
			small++
			if x.Note == noteSibling {
				sibling++
			}
			continue
		}
		if x.Kind == Proportion && x.Numerator != nil {
			require.False(t, *x.Numerator > 0 && *x.Numerator < 5, "%s %s", x.Indicator, x.Group)
			require.False(t, *x.Denominator-*x.Numerator > 0 && *x.Denominator-*x.Numerator < 5, "%s %s", x.Indicator, x.Group)
		}
	}
	require.Positive(t, small)
	groups := []Result{{Note: noteSmall}, {Denominator: new(int)}, {Denominator: new(int)}}
	*groups[1].Denominator, *groups[2].Denominator = 40, 30
	suppressSibling(groups)
	require.Equal(t, noteSibling, groups[2].Note)
	require.Nil(t, groups[2].Denominator)
	require.Empty(t, groups[1].Note)
}

func TestEmptyPeriodAndCohortOfOne(t *testing.T) {
	t.Parallel()
	empty := cohort(t, 20, Query{From: time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(1999, 12, 31, 0, 0, 0, 0, time.UTC)})
	require.Empty(t, empty.Results)
	require.Contains(t, empty.Note, "period")
	one := cohort(t, 1, Query{})
	require.Contains(t, one.Note, "single patients")
	require.Nil(t, one.Rows)
	for _, x := range one.Results {
		require.Nil(t, x.Rate, x.Indicator)
		require.Nil(t, x.Middle, x.Indicator)
	}
	real, err := New(Standard(), Query{AsOf: asOf})
	require.NoError(t, err)
	real.Add(table.Case{Report: sample.Make(1).Merged()})
	require.NotEmpty(t, real.Report().Note, "test data must not enter real figures")
}

func TestWrongQueries(t *testing.T) {
	t.Parallel()
	_, err := Standard().Select("en-block")
	require.ErrorContains(t, err, `"en-block"`)
	require.ErrorContains(t, err, "en-bloc")
	two, err := Standard().Select("r0", "en-bloc")
	require.NoError(t, err)
	require.Equal(t, []string{"en-bloc", "r0"}, two.IDs())
	_, err = New(Standard(), Query{AsOf: asOf, By: "moon"})
	require.ErrorContains(t, err, "organ")
	_, err = New(Standard(), Query{AsOf: asOf, From: asOf, To: asOf.AddDate(0, 0, -1)})
	require.ErrorContains(t, err, "period is empty")
	_, err = New(Standard(), Query{})
	require.Error(t, err)
}

func TestWrongDefinitionsAreRefused(t *testing.T) {
	t.Parallel()
	for name, change := range map[string][2]string{
		"an unknown column":    {`"resection.en_bloc"`, `"resection.enbloc"`},
		"an unknown predicate": {`"numerator": "en-bloc"`, `"numerator": "whole"`},
		"an unknown member":    {`"direction": "higher"`, `"directoin": "higher"`},
		"an unknown source":    {`"source": "korea"`, `"source": "moon"`},
		"a circle":             {`"all": ["paris-recorded", "prediction-recorded"]`, `"all": ["morphology-recorded"]`},
		"a wrong direction":    {`"direction": "lower"`, `"direction": "down"`},
		"no question":          {`"at_least": 9`, `"within_days": 9`},
		"a wrong kind":         {`"kind": "median"`, `"kind": "middle"`},
		"broken JSON":          {"\"version\":", "version:"},
	} {
		raw := strings.Replace(string(standard), change[0], change[1], 1)
		require.NotEqual(t, string(standard), raw, name)
		_, err := Load([]byte(raw))
		require.Error(t, err, name)
	}
}

// TestQuantile: Hyndman and Fan, Am Stat 1996;50:361, definition 7, which is
// also the default of R and of NumPy; figures by hand.
func TestQuantile(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 2.5, *quantile([]float64{1, 2, 3, 4}, 0.5), 1e-12)
	require.InDelta(t, 1.75, *quantile([]float64{1, 2, 3, 4}, 0.25), 1e-12)
	require.InDelta(t, 7, *quantile([]float64{7}, 0.75), 1e-12)
}

func TestCSV(t *testing.T) {
	t.Parallel()
	r := cohort(t, 200, Query{By: "quarter"})
	var b bytes.Buffer
	require.NoError(t, r.WriteCSV(&b))
	lines, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	require.Len(t, lines, len(r.Results)+1)
	require.Contains(t, b.String()+strings.Join(lines[1], ","), "2026-Q1")
}

// TestWindows: fewer than 30 days is open, 30 days are not.
func TestWindows(t *testing.T) {
	t.Parallel()
	c := &compiler{predicates: Standard().predicates}
	open := c.named("test", "window-30-open")
	day := func(n int64) truth {
		start := report.Report{Status: report.Signed}
		start.Session.Start, _ = report.ParseTime("2026-03-01T09:00:00Z")
		cells := table.Cases.Rows(table.Case{Report: start})[0]
		return open(&row{cells: map[*table.Table][]table.Value{table.Cases: cells}, asOf: days(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)) + n})
	}
	require.Equal(t, yes, day(29))
	require.Equal(t, no, day(30))
	require.Equal(t, unknown, open(&row{}))
}
