package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/cmd/enbloc/internal/view"
	"enbloc/mapping/assess"
)

func newRules(s Streams) *cobra.Command {
	var asJSON, markdown bool
	var bookFile string
	c := &cobra.Command{
		Use:     "rules [RULE…]",
		GroupID: lookUp,
		Short:   "Print the rule book: every rule with source, table and confirmation",
		Long: `Print the rules that a report is asked, as a book that a department can read and
sign. Without an argument it is an overview; with rule ids those rules are printed
whole; --markdown prints the whole book.

Which rules are on is a choice of the site: --book FILE, with
  {"mark": "endo-2026-02", "switches": [
    {"guideline": "Korea", "on": false}, {"rule": "R4.…", "on": true}]}
The mark joins the version that every derived record carries.`,
		RunE: func(_ *cobra.Command, args []string) error {
			book, err := service.LoadBook(bookFile)
			if err != nil {
				return err
			}
			printed := book.Print()
			if printed.Rules, err = chosen(printed.Rules, args); err != nil {
				return err
			}
			switch {
			case asJSON:
				return s.printJSON(printed)
			case markdown:
				return s.markdownBook(printed)
			case len(args) > 0:
				return s.wholeRules(printed.Rules)
			}
			return s.rulesTable(printed)
		},
	}
	bookFlag(c, &bookFile)
	c.Flags().BoolVar(&markdown, "markdown", false, "print the whole book as Markdown")
	jsonFlag(c, &asJSON, `{"version","rules":[{"rule","guideline","edition","source","confirmed","on"}]}`)
	c.MarkFlagsMutuallyExclusive("markdown", "json")
	c.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		var ids []string
		for _, r := range assess.DefaultBook().Print().Rules {
			ids = append(ids, cobra.CompletionWithDesc(r.Rule, r.Title))
		}
		return ids, cobra.ShellCompDirectiveNoFileComp
	}
	return c
}

// chosen are the rules with the ids, or all.
func chosen(rules []assess.Description, ids []string) ([]assess.Description, error) {
	if len(ids) == 0 {
		return rules, nil
	}
	var out []assess.Description
	for _, id := range ids {
		i := slices.IndexFunc(rules, func(r assess.Description) bool { return r.Rule == id })
		if i < 0 {
			return nil, usagef("there is no rule %q; enbloc rules lists them", id)
		}
		out = append(out, rules[i])
	}
	return out, nil
}

// onWord is a word, so that nobody has to read a tick or a colour.
func onWord(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func (s Streams) rulesTable(b assess.Printed) error {
	p := s.page()
	rows := make([][]string, len(b.Rules))
	on := 0
	for i, r := range b.Rules {
		if r.On {
			on++
		}
		rows[i] = []string{onWord(r.On), r.Rule + "\n" + r.Title, r.Guideline + ", " + r.Edition, view.Confirmed(r.Confirmed)}
	}
	p.Title(fmt.Sprintf("Rule book %s: %d rules, %d of them on", b.Version, len(b.Rules), on))
	p.Gap()
	p.Table(0, []string{"", "Rule", "Guideline, edition", "Confirmed"}, rows)
	p.Gap()
	p.Text(0, "enbloc rules RULE prints one rule with its table and source; enbloc rules --markdown prints the whole book.")
	return writing(p.Err())
}

func (s Streams) wholeRules(rules []assess.Description) error {
	p := s.page()
	const label = 11
	for _, r := range rules {
		p.Heading(r.Title)
		p.Item(0, label, "Rule", r.Rule+" ("+onWord(r.On)+", asked of each "+string(r.Scope)+")")
		p.Item(0, label, "Guideline", r.Guideline+", "+r.Edition+" ["+r.Society+"]")
		p.Item(0, label, "Source", r.Source)
		p.Item(0, label, "Confirmed", view.Confirmed(r.Confirmed))
		for _, c := range r.Cautions {
			p.Item(0, label, "Caution", c)
		}
		p.Gap()
		if len(r.Table) > 0 {
			rows := make([][]string, len(r.Table))
			for i, row := range r.Table {
				rows[i] = []string{row.When, row.Then, view.Confirmed(row.Confirmed)}
			}
			p.Table(0, []string{"When", "Then", "Confirmed"}, rows)
			p.Gap()
		}
	}
	return writing(p.Err())
}

// markdownBook prints the book as a department would sign it.
func (s Streams) markdownBook(b assess.Printed) error {
	var out strings.Builder
	fmt.Fprintf(&out, "# Rule book %s\n\n", b.Version)
	out.WriteString("Information for licensed clinicians; it defers to local protocol and is no instruction.\n")
	for _, r := range b.Rules {
		fmt.Fprintf(&out, "\n## %s\n\n", cell(r.Title))
		fmt.Fprintf(&out, "- Rule: `%s` (%s, asked of each %s)\n- Guideline: %s, %s\n- Source: %s\n- Confirmed: %s\n",
			r.Rule, onWord(r.On), r.Scope, r.Guideline, r.Edition, r.Source, view.Confirmed(r.Confirmed))
		for _, c := range r.Cautions {
			fmt.Fprintf(&out, "- Caution: %s\n", c)
		}
		if len(r.Table) == 0 {
			continue
		}
		out.WriteString("\n| When | Then | Confirmed |\n|---|---|---|\n")
		for _, row := range r.Table {
			fmt.Fprintf(&out, "| %s | %s | %s |\n", cell(row.When), cell(row.Then), view.Confirmed(row.Confirmed))
		}
	}
	_, err := s.Out.Write([]byte(out.String()))
	return writing(err)
}

// cell keeps a text within one cell of a Markdown table.
func cell(text string) string {
	return strings.NewReplacer("|", `\|`, "\n", " ").Replace(text)
}
