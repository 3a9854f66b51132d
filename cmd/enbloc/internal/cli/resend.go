package cli

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/client"
)

// resendFlags select many deliveries at once.
type resendFlags struct {
	clientFlags
	states         []string
	reason, target string
}

func newResend(s Streams) *cobra.Command {
	var f resendFlags
	c := &cobra.Command{
		Use:     "resend ID... | --state STATE",
		GroupID: running,
		Short:   "Try stopped deliveries again",
		Long: `Ask a running service to try deliveries again that have stopped (dead, parked, in
conflict). Mend the cause first. It is safe: the target is read before anything
is sent, and what stands already is not sent a second time.

With --state all of that state are tried again, the oldest first: after a target
was away for longer than is tried, or after a code that it refused was corrected.`,
		Example: `  enbloc resend 3f2a…
  enbloc resend --state dead --reason budget-spent
  enbloc resend --state dead --target registry-national`,
		RunE: func(c *cobra.Command, args []string) error {
			if (len(args) == 0) == (len(f.states) == 0) {
				return usagef("enbloc resend needs IDs, as listed by: enbloc deliveries, or --state, and not both\nSee: enbloc resend --help")
			}
			if len(args) > 0 && f.reason+f.target != "" {
				return usagef("--reason and --target go with --state: an ID names one delivery already")
			}
			return s.resend(c, args, f)
		},
	}
	f.add(c)
	c.Flags().StringArrayVar(&f.states, "state", nil, "all in this `STATE`: dead, parked or conflict (repeatable)")
	c.Flags().StringVar(&f.reason, "reason", "", "of these only those that stopped for this `REASON`, such as budget-spent")
	c.Flags().StringVar(&f.target, "target", "", "of these only those to this target `NAME`")
	return c
}

func (s Streams) resend(c *cobra.Command, ids []string, f resendFlags) error {
	for _, state := range f.states {
		if !slices.Contains([]string{"dead", "parked", "conflict"}, state) {
			return usagef("--state %s: what is tried again at once is dead, parked or conflict", state)
		}
	}
	asked, err := f.client(s, c)
	if err != nil {
		return err
	}
	if len(ids) == 0 {
		if ids, err = f.selected(c, asked); err != nil {
			return fromService(err)
		}
	}
	var rows []client.Delivery
	var moved int
	for _, id := range ids {
		row, err := asked.Resend(c.Context(), id)
		var refused *client.Refusal
		if len(f.states) > 0 && errors.As(err, &refused) && refused.Status == http.StatusConflict {
			moved++ // since it was listed
			continue
		}
		if err != nil && len(rows) > 0 {
			err = fmt.Errorf("%d of %d deliveries are tried again, then %w", len(rows), len(ids), err)
		}
		if err != nil {
			return fromService(err)
		}
		rows = append(rows, row)
	}
	if len(f.states) == 0 {
		return s.showDeliveries(rows)
	}
	p := s.page()
	p.Text(0, fmt.Sprintf("%d of %d deliveries are tried again.", len(rows), len(ids)))
	if moved > 0 {
		p.Text(0, fmt.Sprintf("%d went on by themselves meanwhile.", moved))
	}
	return writing(p.Err())
}

// selected are the ids that the flags select, the oldest first.
func (f resendFlags) selected(c *cobra.Command, asked *client.Client) (ids []string, err error) {
	query := url.Values{"state": f.states}
	if f.target != "" {
		query.Set("target", f.target)
	}
	rows, err := asked.Deliveries(c.Context(), query, 0)
	for _, d := range slices.Backward(rows) {
		if f.reason == "" || d.Reason == f.reason {
			ids = append(ids, d.ID)
		}
	}
	return ids, err
}
