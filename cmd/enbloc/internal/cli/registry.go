package cli

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/outflow"
	"enbloc/cmd/enbloc/internal/service"
	"enbloc/mapping/fhir"
	"enbloc/mapping/pseudo"
)

func newRegistry(s Streams) *cobra.Command {
	c := &cobra.Command{
		Use:     "registry",
		GroupID: running,
		Short:   "What a registry gets: preview a case, export all",
		Long: `A registry is a recipient that gets cases pseudonymised. What may leave is an
allow-list; keys are made anew with a secret of the recipient's own; dates are
moved, or cut to the month; no text leaves.

A recipient is described in a JSON file:

  {"kind": "registry", "recipient": "national", "secret_file": "national.secret",
   "dates": "shift",
   "consent": {"rule": "opt-out", "file": "opted-out.txt"},
   "target": {"url": "https://registry.example/fhir", "token_file": "national.token"}}

"dates" is shift or month. "secret_file" holds 32 bytes or more (openssl rand -hex
32), else ENBLOC_RECIPIENT_SECRET does; with another secret every case is a new
one at the recipient. "allow_file" names an allow-list other than the built-in one,
"system" the URL of the recipient's identifier systems. Paths count from the file.
To deliver to it: enbloc serve --registry FILE.`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(newRegistryPreview(s), newRegistryExport(s), newAllowList(s))
	return c
}

func newAllowList(s Streams) *cobra.Command {
	return &cobra.Command{
		Use:     "allow-list",
		Short:   "Print the built-in allow-list, to begin another from",
		Example: `  enbloc registry allow-list > allow.json`,
		Args:    none,
		RunE: func(*cobra.Command, []string) error {
			_, err := s.Out.Write(pseudo.DefaultJSON())
			return writing(err)
		},
	}
}

type registryPreviewFlags struct {
	mappingFlags
	recipient, html string
	with            []string
	json, bundle    bool
}

func newRegistryPreview(s Streams) *cobra.Command {
	var f registryPreviewFlags
	c := &cobra.Command{
		Use:   "preview FILE",
		Short: "Show, field by field, what of a case would leave and what would not, and why",
		Long: `Check and map the report and show, field by field, what would leave for a registry,
in what form, and what would stay, and why: the page for whoever answers for data
protection. Nothing is stored and nothing leaves this machine.

What is printed holds values of the case as they stand in the record. With --bundle
the resources are printed that would leave, and nothing else.

Without --recipient the settings are an example's: built-in allow-list, dates
moved, a secret that is public.`,
		Example: `  enbloc registry preview report.json --with histology.json
  enbloc registry preview report.json --recipient national.json --html preview.html`,
		Args: exactly(1, "one FILE, or - for standard input"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			return s.registryPreview(args[0], &f)
		},
	}
	c.Flags().SortFlags = false
	withFlag(c, &f.with)
	c.Flags().StringVar(&f.recipient, "recipient", "", "settings `FILE` of the recipient (default an example's)")
	c.Flags().BoolVar(&f.json, "json", false, "print as JSON, format "+outflow.Format)
	c.Flags().StringVar(&f.html, "html", "", "`FILE` for the page, to read or print")
	c.Flags().BoolVar(&f.bundle, "bundle", false, "print the transaction Bundle that would leave")
	f.add(c)
	return c
}

func (s Streams) registryPreview(file string, f *registryPreviewFlags) error {
	if f.json && f.bundle {
		return usagef("--json and --bundle both print to standard output: give one")
	}
	recipient, err := s.recipient(f.recipient)
	if err != nil {
		return err
	}
	key := exampleKey
	if f.keyFile != "" {
		if key, err = service.LoadKey(f.keyFile); err != nil {
			return err
		}
	}
	pipeline, err := f.pipeline(key)
	if err != nil {
		return err
	}
	c, err := s.sound(file, f.with)
	if err != nil {
		return err
	}
	g, err := pipeline.Map(c.rep, len(c.documents))
	if err != nil {
		return &exitError{HasErrors, fmt.Errorf("%s cannot be mapped: %w", c.documents[0].name, err)}
	}
	sheet, err := outflow.Make(recipient.Pseudo, g)
	if err != nil {
		return &exitError{HasErrors, err}
	}
	if f.html != "" {
		var page bytes.Buffer
		if err := sheet.WriteHTML(&page); err != nil {
			return err
		}
		if err := os.WriteFile(f.html, page.Bytes(), 0o600); err != nil {
			return usagef("writing page: %w", err)
		}
	}
	switch {
	case f.bundle:
		out, err := recipient.Pseudo.Apply(g)
		if err != nil {
			return err
		}
		_, err = s.Out.Write(append(fhir.Bundle(out), '\n'))
		return writing(err)
	case f.json:
		return s.printJSON(sheet)
	}
	return s.printSheet(sheet)
}

// recipient loads a settings file; without one it is an example's.
func (s Streams) recipient(path string) (*service.Registry, error) {
	if path == "" {
		return service.ExampleRegistry()
	}
	r, err := service.LoadRegistry(path, s.env)
	if err != nil {
		return nil, usagef("%w", err)
	}
	return r, nil
}

func (s Streams) printSheet(sheet outflow.Sheet) error {
	p := s.page()
	p.Title("What leaves for the recipient " + sheet.Recipient)
	p.Text(0, fmt.Sprintf("%d of %d resources leave. Of their fields %d stay, %d leave changed, %d leave as they stand. Allow-list %s, dates: %s.",
		sheet.Left, sheet.Resources, sheet.Fields[pseudo.Stays], sheet.Fields[pseudo.Changed], sheet.Fields[pseudo.Leaves], sheet.AllowList, sheet.Dates))
	for _, v := range outflow.Verdicts {
		p.Gap()
		p.Title(outflow.Headings[v])
		var rows [][]string
		var reasons []pseudo.Reason
		for _, r := range sheet.Of(v) {
			rows = append(rows, []string{r.Name(), strconv.Itoa(r.Count), string(r.Reason), r.Example()})
			if !slices.Contains(reasons, r.Reason) {
				reasons = append(reasons, r.Reason)
			}
		}
		p.Table(0, []string{"Field", "Times", "Why", "For example"}, rows)
		p.Gap()
		for _, why := range reasons {
			p.Item(2, len(pseudo.NotAWord)+2, string(why), why.Sentence())
		}
	}
	return writing(p.Err())
}
