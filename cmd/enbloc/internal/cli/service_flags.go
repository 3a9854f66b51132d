package cli

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/client"
	"enbloc/cmd/enbloc/internal/service"
)

// clientFlags are the flags of commands that ask a running service.
type clientFlags struct{ server, tokenFile string }

func (f *clientFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.server, "server", "http://"+service.DefaultListen, "address of the running `URL`")
	c.Flags().StringVar(&f.tokenFile, "token-file", "", "`FILE` with the bearer token of the service (or ENBLOC_TOKEN)")
}

// client reads flags and environment; it calls nobody.
func (f *clientFlags) client(s Streams, c *cobra.Command) (*client.Client, error) {
	if err := fromEnv(c, s.env); err != nil {
		return nil, err
	}
	token, err := s.secret("token", f.tokenFile)
	if err != nil {
		return nil, err
	}
	asked, err := client.New(f.server, token)
	if err != nil {
		return nil, usagef("%w", err)
	}
	return asked, nil
}

// fromService gives an error of a running service its exit code.
func fromService(err error) error {
	if err == nil {
		return nil
	}
	var refused *client.Refusal
	if errors.As(err, &refused) || errors.Is(err, context.Canceled) {
		return targetFailed(err)
	}
	return targetFailed(fmt.Errorf("%w\nIs the service running? Start it with: enbloc serve", err))
}

// secret reads a secret from a file, else from the environment.
func (s Streams) secret(name, file string) (string, error) {
	if file == "" {
		return s.env(envName(name)), nil
	}
	value, err := service.ReadSecret(file)
	if err != nil {
		return "", usagef("%w", err)
	}
	return value, nil
}
