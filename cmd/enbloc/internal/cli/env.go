package cli

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// envName is the environment variable of a flag: --token-file is
// ENBLOC_TOKEN_FILE.
func envName(flag string) string {
	return "ENBLOC_" + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

// fromEnv sets every flag that was not given from its environment variable.
// A flag always wins over the environment.
func fromEnv(c *cobra.Command, env func(string) string) error {
	var errs []error
	c.Flags().VisitAll(func(f *pflag.Flag) {
		value := env(envName(f.Name))
		if f.Changed || value == "" || f.Name == "help" {
			return
		}
		if err := c.Flags().Set(f.Name, value); err != nil {
			errs = append(errs, usagef("%s: %w", envName(f.Name), err))
		}
	})
	return errors.Join(errs...)
}
