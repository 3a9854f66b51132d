package cli

import (
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
)

// stockFlags say which store a command reads.
type stockFlags struct{ service.Config }

func (f *stockFlags) add(c *cobra.Command) {
	fl := c.Flags()
	fl.StringVar(&f.Data, "data", service.DefaultData, "`DIR` of the store and the identity key")
	fl.StringVar(&f.Store, "store", "", "`PATH|URL` of a SQLite file or postgres://… (default enbloc.db in the data folder)")
	fl.StringVar(&f.KeyFile, "key-file", "", "`FILE` of the identity key (default identity.key in the data folder)")
	fl.StringVar(&f.Tenant, "tenant", "", "`NAME` of the site, where several share a store")
	bookFlag(c, &f.BookFile)
}

// open reads the environment and opens the store.
func (f *stockFlags) open(s Streams, c *cobra.Command) (*service.Stock, error) {
	if err := fromEnv(c, s.env); err != nil {
		return nil, err
	}
	stock, err := service.OpenStock(c.Context(), f.Config)
	if err != nil {
		return nil, usagef("%w", err)
	}
	return stock, nil
}

// date reads a day of the command line; "" is the zero time.
func date(flag, value string) (time.Time, error) {
	if value == "" {
		return time.Time{}, nil
	}
	at, err := time.Parse(time.DateOnly, value)
	if err != nil {
		return at, usagef("--%s %q is not a day such as 2026-03-10", flag, value)
	}
	return at, nil
}
