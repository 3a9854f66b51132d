package cli

import (
	"errors"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/demo"
)

func newDemo(s Streams) *cobra.Command {
	var o demo.Options
	c := &cobra.Command{
		Use:     "demo",
		GroupID: running,
		Short:   "Play invented cases through the service and a practice receiver",
		Long: `Start the service and, as no hospital's FHIR server is at hand, a practice receiver in
this process; send invented cases over HTTP; print what was accepted, found, derived,
delivered and read back; send everything once more and show that nothing doubled.
Nothing is left on disk.`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			log, err := s.logger("text", "warn")
			if err != nil {
				return err
			}
			o.Page, o.Log, o.Version = s.page(), log, version()
			o.Progress = s.progress
			err = demo.Run(ctx, o)
			if errors.Is(err, demo.ErrNotDelivered) {
				return targetFailed(err)
			}
			return err
		},
	}
	c.Flags().BoolVar(&o.Stay, "stay", false, "keep service and receiver open and print where to look")
	c.Flags().BoolVar(&o.All, "all", false, "play every example case, not only the chosen ones")
	c.Flags().StringVar(&o.Listen, "listen", "", "`HOST:PORT` of the service (default a free port on loopback)")
	return c
}
