// Command cohort writes what others recompute: the tables of a seeded cohort of
// invented cases, and the figures that enbloc makes of them.
//
//	go run ./testdata/peers/tables/cohort DIR [CASES] [SEED]
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"enbloc/mapping/assess"
	"enbloc/mapping/indicator"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/mapping/table"
	"enbloc/server/export"
)

// asOf lies in the middle of the cohort's year, so that windows are open.
var asOf = time.Date(2026, 8, 20, 0, 0, 0, 0, time.UTC)

// cohort is a source of invented cases.
type cohort struct {
	next func() (sample.Case, bool)
	book assess.Book
	n    int
}

func newCohort(n int, seed uint64) *cohort {
	next, _ := iter.Pull(sample.Cohort(n, seed))
	return &cohort{next: next, book: assess.DefaultBook()}
}

// Page hands out the next cases; the cursor is of no use here.
func (c *cohort) Page(_ context.Context, _ string, limit int) ([]table.Case, string, error) {
	var out []table.Case
	for len(out) < limit {
		one, ok := c.next()
		if !ok {
			break
		}
		c.n++
		merged := one.Merged()
		flat := table.Case{Key: fmt.Sprintf("c%040x", c.n), Sequence: 1, Report: merged,
			Opaque: func(id report.Identifier) string { return "p" + id.Value[len(id.Value)-1:] }}
		if merged.Status != report.Withdrawn {
			flat.Results = c.book.Assess(merged)
		}
		out = append(out, flat)
	}
	return out, strconv.Itoa(c.n), nil
}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run() error {
	n, seed := 20_000, uint64(7)
	if len(os.Args) < 2 {
		return fmt.Errorf("usage: cohort DIR [CASES] [SEED]")
	}
	for i, into := range []func(uint64){func(v uint64) { n = int(v) }, func(v uint64) { seed = v }} {
		if len(os.Args) > i+2 {
			v, err := strconv.ParseUint(os.Args[i+2], 10, 32)
			if err != nil {
				return err
			}
			into(v)
		}
	}
	dir, ctx := os.Args[1], context.Background()
	summary, err := export.Run(ctx, export.Options{Source: newCohort(n, seed), Dir: dir, Formats: export.Formats, Scope: "cohort", PerPart: 8000})
	if err != nil {
		return err
	}
	fmt.Printf("%d cases in %d parts\n", summary.Cases, summary.Parts)
	return figures(ctx, dir, n, seed)
}

// figures writes the indicators, small cells shown, and the FHIR form of them.
func figures(ctx context.Context, dir string, n int, seed uint64) error {
	set := indicator.Standard()
	tallies := map[string]*indicator.Tally{}
	for _, by := range []string{"", "organ", "quarter"} {
		tally, err := indicator.New(set, indicator.Query{By: by, AsOf: asOf, TestData: true, SmallCell: 1})
		if err != nil {
			return err
		}
		tallies[by] = tally
	}
	err := export.Each(ctx, newCohort(n, seed), func(c table.Case) error {
		for _, tally := range tallies {
			tally.Add(c)
		}
		return nil
	})
	if err != nil {
		return err
	}
	fhir := filepath.Join(dir, "fhir")
	if err := os.MkdirAll(fhir, 0o700); err != nil {
		return err
	}
	for by, tally := range tallies {
		r := tally.Report()
		raw, err := json.MarshalIndent(r, "", " ")
		if err != nil {
			return err
		}
		name := "indicators-" + by + ".json"
		if err := errors.Join(os.WriteFile(filepath.Join(dir, name), raw, 0o600), os.WriteFile(filepath.Join(fhir, name), r.Bundle(set), 0o600)); err != nil {
			return err
		}
	}
	return nil
}
