package cli

import (
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/demo"
	"enbloc/server/practice"
)

func newPractice(s Streams) *cobra.Command {
	var listen string
	c := &cobra.Command{
		Use:     "practice",
		GroupID: running,
		Short:   "Run a practice receiver to send to, where no FHIR server is at hand",
		Long: `Run a practice receiver on loopback until Ctrl-C. It knows the invented patients of
the example cases, speaks the FHIR calls that enbloc makes, labels every answer as
practice, and keeps nothing beyond this run. It is no FHIR server and no place for
patient data.`,
		Example: `  enbloc practice
  enbloc send report.json --to http://127.0.0.1:8701/fhir`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			return demo.Receive(ctx, listen, func(base string) {
				p := s.page()
				p.Item(0, 10, "Receiver", base+", "+practice.Notice)
				p.Text(10, "Ctrl-C ends it.")
			})
		},
	}
	c.Flags().StringVar(&listen, "listen", "127.0.0.1:8701", "`HOST:PORT` to listen on")
	return c
}
