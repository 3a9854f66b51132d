package cli

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/client"
	"enbloc/cmd/enbloc/internal/view"
)

func newDeliveries(s Streams) *cobra.Command {
	var flags clientFlags
	var asJSON bool
	var states []string
	var caseKey, target string
	var limit int
	c := &cobra.Command{
		Use:     "deliveries",
		GroupID: running,
		Short:   "List what a running service has delivered, or could not",
		Long: `List the deliveries of a running service, newest first: which state of which case
stands on the target, what is being tried again, and what has stopped and why.
No line holds patient data; cases are named by their opaque key.`,
		Example: `  enbloc deliveries --state dead --state conflict
  enbloc deliveries --case c0123… --json`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			asked, err := flags.client(s, c)
			if err != nil {
				return err
			}
			query := url.Values{"state": states}
			for name, value := range map[string]string{"case": caseKey, "target": target} {
				if value != "" {
					query.Set(name, value)
				}
			}
			rows, err := asked.Deliveries(c.Context(), query, limit)
			if err != nil {
				return fromService(err)
			}
			if asJSON {
				return s.printJSON(map[string]any{"deliveries": rows})
			}
			targets, err := asked.Targets(c.Context())
			if err != nil {
				return fromService(err)
			}
			if err := s.showTargets(targets); err != nil {
				return err
			}
			return s.showDeliveries(rows)
		},
	}
	flags.add(c)
	c.Flags().StringArrayVar(&states, "state", nil, "only this `STATE` (repeatable)")
	c.Flags().StringVar(&caseKey, "case", "", "only of this case `KEY`")
	c.Flags().StringVar(&target, "target", "", "only to this target `NAME`")
	c.Flags().IntVar(&limit, "limit", 50, "at most so many rows, 0 for all")
	jsonFlag(c, &asJSON, `{"deliveries":[{"id","case","sequence","target","state","reason",…}]}`)
	return c
}

// showTargets says by which rung each target is written, and what is lost there.
func (s Streams) showTargets(targets []client.Target) error {
	p := s.page()
	for _, t := range targets {
		text := fmt.Sprintf("%s, rung %d: %s.", t.Name, t.Rung.Number, t.Rung.Title)
		if len(t.Rung.Lost) > 0 {
			text += " Lost: " + strings.Join(t.Rung.Lost, " ")
		}
		if t.Stepped != nil {
			text += fmt.Sprintf(" Since %s the server refuses rung %d (HTTP %d), so enbloc stepped down by itself. Ask the server's people why; "+
				"after the next enbloc preflight --keep that may write, and a start, the better rung is tried again.", t.Stepped.Since.Local().Format(time.DateTime), t.Stepped.From, t.Stepped.Status)
		}
		if t.Circuit != "closed" {
			text += " It has failed several times in a row and is being left alone for a while."
		}
		p.Item(0, 8, "Target", text)
	}
	p.Gap()
	return writing(p.Err())
}

func (s Streams) showDeliveries(rows []client.Delivery) error {
	p := s.page()
	if len(rows) == 0 {
		p.Text(0, "No delivery matches.")
		return writing(p.Err())
	}
	titles := []string{"Delivery", "Case", "State no.", "Stands", "Tries", "Changed", "Why"}
	several := slices.ContainsFunc(rows, func(d client.Delivery) bool { return d.Target != rows[0].Target })
	if several {
		titles = slices.Insert(titles, 1, "Target")
	}
	cells := make([][]string, len(rows))
	for i, d := range rows {
		why := d.Reason
		if d.Explanation != "" {
			why = d.Explanation
		}
		cells[i] = []string{d.ID, view.ShortKey(d.Case), strconv.Itoa(d.Sequence), d.State, strconv.Itoa(len(d.Attempts)),
			d.Updated.Local().Format(time.DateTime), why}
		if several {
			cells[i] = slices.Insert(cells[i], 1, d.Target)
		}
	}
	p.Table(0, titles, cells)
	return writing(p.Err())
}
