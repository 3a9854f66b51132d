package cli

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/cmd/enbloc/internal/view"
	"enbloc/mapping"
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/mapping/whatif"
)

func newAssess(s Streams) *cobra.Command {
	var with, changes []string
	var asJSON bool
	var bookFile string
	c := &cobra.Command{
		Use:     "assess FILE",
		GroupID: onFile,
		Short:   "Say what published rules make of a report",
		Long: `Ask every rule of the book about the report: indication, curability, risks,
severity of events, surveillance. Each answer names guideline, edition and source,
how far the rule was confirmed, what it was read from and what is missing. Where
guidelines differ, their answers stand side by side.

--what-if changes a value and shows the answers before and after. Its path names a
lesion by number or an event by id, then the field; an empty value removes the
field. Nothing is stored and nothing leaves this machine.

The answers are information for licensed clinicians, defer to local protocol, and
are no instruction.`,
		Example: `  enbloc assess report.json --with histology.json
  enbloc assess report.json --what-if lesion/1/histology/depth_um=650
  enbloc assess report.json --what-if lesion/1/histology/lymphatic_invasion=positive --json`,
		Args: exactly(1, "one FILE, or - for standard input"),
		RunE: func(_ *cobra.Command, args []string) error {
			book, err := service.LoadBook(bookFile)
			if err != nil {
				return err
			}
			c, err := s.sound(args[0], with)
			if err != nil {
				return err
			}
			if len(changes) > 0 {
				return s.whatIf(c, book, changes, asJSON)
			}
			return s.showResults(c, book, asJSON)
		},
	}
	withFlag(c, &with)
	bookFlag(c, &bookFile)
	c.Flags().StringArrayVar(&changes, "what-if", nil, "compare with this changed: `PATH=VALUE` (repeatable)")
	jsonFlag(c, &asJSON, `{"results":[{"rule","guideline","edition","source","lesion","answer","reason","inputs","missing","confirmed",…}]}`)
	return c
}

func bookFlag(c *cobra.Command, path *string) {
	c.Flags().StringVar(path, "book", "", "JSON `FILE` that says which guidelines and rules are on")
}

// sound loads a case that has no error; its errors are shown on standard error,
// as standard output belongs to the result.
func (s Streams) sound(file string, with []string) (session, error) {
	c, err := s.load(file, with)
	if err != nil {
		return c, err
	}
	if report.Rejects(c.findings) {
		return c, s.rejected(c.documents[0].name, c.findings)
	}
	if len(c.findings) > 0 {
		fmt.Fprintf(s.Err, "enbloc: %s: %s. See: enbloc check\n", c.documents[0].name, view.Count(c.findings))
	}
	return c, nil
}

func (s Streams) rejected(name string, findings []report.Finding) error {
	p := s.notes()
	p.Title(name + ": " + view.Count(findings) + verdict(findings))
	p.Gap()
	view.Findings(p, findings)
	return errHasErrors
}

func (s Streams) showResults(c session, book assess.Book, asJSON bool) error {
	results := book.Assess(c.rep)
	if asJSON {
		return s.printJSON(map[string]any{"results": some(results)})
	}
	p := s.page()
	p.Text(0, fmt.Sprintf("%s: %d answers by rule book %s", c.documents[0].name, len(results), book.Version))
	p.Gap()
	view.Results(p, c.rep, results)
	return writing(p.Err())
}

// whatIf compares the answers before and after the changes. The changed report
// has to pass the same checks as any.
func (s Streams) whatIf(c session, book assess.Book, changes []string, asJSON bool) error {
	raw := c.documents[0].raw
	if len(c.documents) > 1 {
		merged, err := json.Marshal(c.rep)
		if err != nil {
			return fmt.Errorf("joining the parts: %w", err)
		}
		raw = merged
	}
	changed, findings := whatif.Apply(raw, changes)
	if report.Rejects(findings) {
		return usagef("--what-if %s: %s %s", blamed(changes, findings[0]), findings[0].Text, findings[0].Mend)
	}
	after, findings := mapping.Check(changed)
	if report.Rejects(findings) {
		return s.rejected("The changed report", findings)
	}
	pairs := whatif.Pairs(book.Assess(c.rep), book.Assess(after))
	if asJSON {
		return s.printJSON(map[string]any{"changes": changes, "findings": some(findings), "pairs": pairs})
	}
	p := s.page()
	for _, change := range changes {
		p.Title("What if " + change)
	}
	p.Gap()
	if fresh := added(c.findings, findings); len(fresh) > 0 {
		p.Text(0, "The changed report would also be found fault with:")
		p.Gap()
		view.Findings(p, fresh)
	}
	view.Compare(p, pairs)
	return writing(p.Err())
}

// blamed is the change that a finding of package whatif points to.
func blamed(changes []string, f report.Finding) string {
	var i int
	if _, err := fmt.Sscanf(f.Pointer, "/changes/%d", &i); err == nil && i < len(changes) {
		return changes[i]
	}
	return ""
}

// added are the findings that were not there before.
func added(before, after []report.Finding) []report.Finding {
	had := map[[2]string]bool{}
	for _, f := range before {
		had[[2]string{f.ID, f.Pointer}] = true
	}
	var fresh []report.Finding
	for _, f := range after {
		if !had[[2]string{f.ID, f.Pointer}] {
			fresh = append(fresh, f)
		}
	}
	return fresh
}
