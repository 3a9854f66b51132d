package cli

import (
	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/client"
)

func newSkip(s Streams) *cobra.Command {
	var flags clientFlags
	c := &cobra.Command{
		Use:     "skip ID",
		GroupID: running,
		Short:   "Give up a stopped delivery",
		Long: `Ask a running service to close a delivery unsent and to go on with the next state
of its case. For one that must not be sent any more, or that stands in a conflict
that was settled on the server by hand.`,
		Args: exactly(1, "the ID of one delivery, as listed by: enbloc deliveries"),
		RunE: func(c *cobra.Command, args []string) error {
			asked, err := flags.client(s, c)
			if err != nil {
				return err
			}
			row, err := asked.Skip(c.Context(), args[0])
			if err != nil {
				return fromService(err)
			}
			return s.showDeliveries([]client.Delivery{row})
		},
	}
	flags.add(c)
	return c
}
