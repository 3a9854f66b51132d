package cli

import "github.com/spf13/cobra"

func newHealth(s Streams) *cobra.Command {
	var flags clientFlags
	c := &cobra.Command{
		Use:     "health",
		GroupID: running,
		Short:   "Ask whether a service is ready: exit code 0 or 3",
		Long: `Ask a running service whether it can accept reports now. It prints nothing when
all is well, so that it can serve as the health check of a container.`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			asked, err := flags.client(s, c)
			if err != nil {
				return err
			}
			return fromService(asked.Get(c.Context(), "/health/ready", nil))
		},
	}
	flags.add(c)
	return c
}
