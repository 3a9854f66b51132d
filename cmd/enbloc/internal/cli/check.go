package cli

import (
	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/view"
	"enbloc/mapping/report"
)

func newCheck(s Streams) *cobra.Command {
	var with []string
	var asJSON bool
	c := &cobra.Command{
		Use:     "check FILE",
		GroupID: onFile,
		Short:   "Check a report, or a part of one, and say what to mend",
		Long: `Check a document on two levels: against its schema, and its fields against each
other. An error would refuse it; a warning is probably wrong; advice is what a
colleague would mention. Nothing is stored and nothing leaves this machine.

FILE may be a report, a histology part or an events part. With --with, the parts
are joined to the report first and the whole case is checked.`,
		Example: `  enbloc check report.json
  enbloc check report.json --with histology.json --json
  cat report.json | enbloc check -`,
		Args: exactly(1, "one FILE, or - for standard input"),
		RunE: func(_ *cobra.Command, args []string) error {
			findings, name, err := s.findings(args[0], with)
			if err != nil {
				return err
			}
			if err := s.showFindings(name, findings, asJSON); err != nil {
				return err
			}
			if report.Rejects(findings) {
				return errHasErrors
			}
			return nil
		},
	}
	withFlag(c, &with)
	jsonFlag(c, &asJSON, `{"findings":[{"id","severity","pointer","text","mend","source"}]}`)
	return c
}

func (s Streams) findings(file string, with []string) ([]report.Finding, string, error) {
	if len(with) == 0 {
		d, err := s.read(file)
		if err != nil {
			return nil, "", err
		}
		return checkAlone(d), d.name, nil
	}
	c, err := s.load(file, with)
	if err != nil {
		return nil, "", err
	}
	return c.findings, c.documents[0].name, nil
}

func (s Streams) showFindings(name string, findings []report.Finding, asJSON bool) error {
	if asJSON {
		return s.printJSON(map[string]any{"findings": some(findings)})
	}
	p := s.page()
	p.Title(name + ": " + view.Count(findings) + verdict(findings))
	p.Gap()
	view.Findings(p, findings)
	return writing(p.Err())
}

// verdict says what the findings mean for the document.
func verdict(findings []report.Finding) string {
	switch {
	case report.Rejects(findings):
		return ". It would be refused until the errors are mended."
	case len(findings) > 0:
		return ". It would be accepted; please look at these."
	}
	return ". It would be accepted."
}

// some makes an empty list of a nil one, as JSON tells them apart.
func some[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// withFlag and jsonFlag are the flags that commands on a file share.
func withFlag(c *cobra.Command, with *[]string) {
	c.Flags().StringArrayVar(with, "with", nil, "join this histology or events `PART.json` to the report first (repeatable)")
}

func jsonFlag(c *cobra.Command, asJSON *bool, shape string) {
	c.Flags().BoolVar(asJSON, "json", false, "print JSON for machines: "+shape)
}
