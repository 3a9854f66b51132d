package cli

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"enbloc/mapping/indicator"
	"enbloc/mapping/table"
	"enbloc/server/export"
)

type indicatorFlags struct {
	stockFlags
	by, from, to, asOf, definitions, pictures string
	only                                      []string
	smallCell                                 int
	testData, json, csv, fhir                 bool
}

func newIndicators(s Streams) *cobra.Command {
	var f indicatorFlags
	c := &cobra.Command{
		Use:     "indicators",
		GroupID: running,
		Short:   "The unit's own figures beside published benchmarks",
		Long: `Quality indicators over the stored cases: each with numerator, denominator, exclusions,
what is not evaluable, the Wilson 95% interval and published benchmarks. Unknown is never
negative: what cannot be told leaves the rate. Only signed reports count. Figures describe;
without case mix they judge nobody.

The definitions are a file: change a copy of it and give it with --definitions.
May run beside the service.`,
		Example: `  enbloc indicators
  enbloc indicators --by organ --from 2026-01-01 --to 2026-12-31
  enbloc indicators --indicator r0 --indicator perforation --by quarter --csv
  enbloc indicators --pictures figures`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error { return s.indicators(c, &f) },
	}
	fl := c.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.by, "by", "", "part the cases by `"+strings.Join(indicator.Ways(), "|")+"`")
	fl.StringVar(&f.from, "from", "", "first `DAY` of the period, by the day of the session")
	fl.StringVar(&f.to, "to", "", "last `DAY` of the period")
	fl.StringVar(&f.asOf, "as-of", "", "`DAY` on which windows of observation are judged (default today)")
	fl.StringArrayVar(&f.only, "indicator", nil, "only this `ID`; may be repeated")
	fl.IntVar(&f.smallCell, "small-cell", 5, "smallest `COUNT` that is shown; 1 shows all")
	fl.BoolVar(&f.testData, "test-data", false, "count invented cases, and only those")
	fl.StringVar(&f.definitions, "definitions", "", "`FILE` of definitions (default those built in)")
	fl.StringVar(&f.pictures, "pictures", "", "draw funnel, learning curve, speed and map into this `DIR`, as SVG and PNG")
	fl.BoolVar(&f.json, "json", false, "print JSON")
	fl.BoolVar(&f.csv, "csv", false, "print CSV")
	fl.BoolVar(&f.fhir, "fhir", false, "print a FHIR Bundle of Measure and MeasureReport")
	c.MarkFlagsMutuallyExclusive("json", "csv", "fhir")
	f.add(c)
	return c
}

func (s Streams) indicators(c *cobra.Command, f *indicatorFlags) error {
	set, tally, err := f.tally()
	if err != nil {
		return err
	}
	stock, err := f.open(s, c)
	if err != nil {
		return err
	}
	var drawn drawing
	source := export.Stored{Store: stock.Store, Book: stock.Book, Tenant: stock.Tenant, Key: stock.Key, Undelivered: true}
	err = export.Each(c.Context(), source, func(one table.Case) error {
		tally.Add(one)
		if f.pictures != "" {
			drawn.add(tally, one)
		}
		return nil
	})
	if err = errors.Join(err, stock.Store.Close()); err != nil {
		return usagef("counting cases: %w", err)
	}
	if f.pictures != "" {
		if err := s.draw(f, &drawn); err != nil {
			return err
		}
	}
	return s.printIndicators(f, set, tally.Report())
}

// tally reads the flags.
func (f *indicatorFlags) tally() (*indicator.Set, *indicator.Tally, error) {
	set := indicator.Standard()
	if f.definitions != "" {
		raw, err := os.ReadFile(filepath.Clean(f.definitions))
		if err != nil {
			return nil, nil, usagef("reading definitions: %w", err)
		}
		if set, err = indicator.Load(raw); err != nil {
			return nil, nil, usagef("%w", err)
		}
	}
	set, err := set.Select(f.only...)
	if err != nil {
		return nil, nil, usagef("%w", err)
	}
	if f.smallCell < 1 {
		return nil, nil, usagef("--small-cell %d: give 1 or more", f.smallCell)
	}
	q := indicator.Query{By: f.by, TestData: f.testData, SmallCell: f.smallCell, AsOf: time.Now()}
	for _, d := range []struct {
		into        *time.Time
		name, value string
	}{{&q.From, "from", f.from}, {&q.To, "to", f.to}, {&q.AsOf, "as-of", f.asOf}} {
		if d.value == "" {
			continue
		}
		if *d.into, err = date(d.name, d.value); err != nil {
			return nil, nil, err
		}
	}
	tally, err := indicator.New(set, q)
	if err != nil {
		return nil, nil, usagef("%w", err)
	}
	return set, tally, nil
}

func (s Streams) printIndicators(f *indicatorFlags, set *indicator.Set, r indicator.Report) error {
	switch {
	case f.json:
		return s.printJSON(r)
	case f.csv:
		return writing(r.WriteCSV(s.Out))
	case f.fhir:
		return s.printJSON(json.RawMessage(r.Bundle(set)))
	}
	p := s.page()
	if r.Note != "" {
		p.Text(0, r.Note)
	}
	if len(r.Results) == 0 {
		return writing(p.Err())
	}
	titles := []string{"Indicator", "Figure", "95% interval", "Excluded", "Not evaluable", "Published"}
	if r.By != "" {
		titles = append([]string{"Indicator", r.By}, titles[1:]...)
	}
	var rows [][]string
	for _, x := range r.Results {
		row := []string{x.Title, x.Figure(), x.Interval(), shown(x.Excluded), shown(x.NotEvaluable), benchmarks(x)}
		if r.By != "" {
			row = append([]string{x.Title, x.Group}, row[1:]...)
		}
		rows = append(rows, row)
	}
	p.Table(0, titles, rows)
	p.Gap()
	p.Text(0, "Definitions "+r.Version+", windows judged on "+r.AsOf+". What is not evaluable is in no rate. "+
		"Figures describe the cases of this unit; without their mix they judge nobody. Sources, bounds and cautions: --json.")
	return writing(p.Err())
}

func shown(n *int) string {
	if n == nil {
		return "–"
	}
	return strconv.Itoa(*n)
}

// benchmarks are the benchmarks without their citations, which --json has.
func benchmarks(x indicator.Result) string {
	var parts []string
	for _, b := range x.Benchmarks {
		figure, unit := b.Pct, "%"
		if x.Kind == indicator.Median {
			figure, unit = b.Value, " "+x.Unit
		}
		parts = append(parts, strconv.FormatFloat(figure, 'f', -1, 64)+unit+" "+b.Of)
	}
	return strings.Join(parts, "; ")
}
