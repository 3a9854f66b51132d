package cli

import (
	"errors"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/mapping/table"
	"enbloc/server/export"
)

type exportFlags struct {
	stockFlags
	out, formats, since string
	json                bool
}

func newExport(s Streams) *cobra.Command {
	var f exportFlags
	c := &cobra.Command{
		Use:     "export --out DIR",
		GroupID: running,
		Short:   "Write the stored cases as tables (CSV, Parquet)",
		Long: `Write the cases of the store as seven flat tables: case, lesion, resection, histology,
assessment, event and delivery, with a data dictionary (Frictionless Data Package).
May run beside the service.

No table holds a patient identifier, a name or a free text. A case is named by its
opaque key, people and places by opaque keys. Sessions keep their day and patients
their age: the tables are pseudonymous, not anonymous; handle them as such.

An export that was interrupted goes on where it stopped when the call is repeated.`,
		Example: `  enbloc export --out tables
  enbloc export --out tables --format parquet --since 2026-01-01`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error { return s.export(c, &f) },
	}
	c.Flags().SortFlags = false
	c.Flags().StringVar(&f.out, "out", "", "`DIR` to write into (needed)")
	c.Flags().StringVar(&f.formats, "format", "csv,parquet", "`csv,parquet`: one or both")
	c.Flags().StringVar(&f.since, "since", "", "only cases that have changed since this `DAY` (UTC)")
	c.Flags().BoolVar(&f.json, "json", false, "print what was written as JSON")
	f.add(c)
	return c
}

func (s Streams) export(c *cobra.Command, f *exportFlags) error {
	if f.out == "" {
		return usagef("say where to write: --out DIR")
	}
	since, err := date("since", f.since)
	if err != nil {
		return err
	}
	formats, err := formatsOf(f.formats)
	if err != nil {
		return err
	}
	stock, err := f.open(s, c)
	if err != nil {
		return err
	}
	source := export.Stored{Store: stock.Store, Book: stock.Book, Tenant: stock.Tenant, Key: stock.Key, Since: since}
	summary, err := export.Run(c.Context(), export.Options{Source: source, Dir: f.out, Formats: formats,
		Scope:    "tenant " + stock.Tenant + ", since " + f.since + ", book " + stock.Book.Version,
		Progress: func(n int) { s.progress("%d cases", n) }})
	s.progressDone()
	if err = errors.Join(err, stock.Store.Close()); err != nil {
		return usagef("%w", err)
	}
	if f.json {
		return s.printJSON(summary)
	}
	return s.printSummary(f.out, summary)
}

func formatsOf(text string) ([]export.Format, error) {
	var out []export.Format
	for _, known := range export.Formats {
		for word := range strings.SplitSeq(text, ",") {
			if strings.TrimSpace(word) == string(known) {
				out = append(out, known)
			}
		}
	}
	if len(out) == 0 || len(out) != len(strings.Split(text, ",")) {
		return nil, usagef("--format %q: give csv, parquet, or csv,parquet", text)
	}
	return out, nil
}

func (s Streams) printSummary(dir string, summary export.Summary) error {
	p := s.page()
	lead := "Wrote "
	if summary.Resumed {
		lead = "Completed an interrupted export: "
	}
	p.Text(0, lead+strconv.Itoa(summary.Cases)+" cases to "+dir)
	for _, t := range table.All() {
		p.Text(2, t.Name+": "+strconv.Itoa(summary.Rows[t.Name])+" rows")
	}
	return writing(p.Err())
}
