package service

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"enbloc/mapping/assess"
	"enbloc/server/store"
)

// Stock is what a command needs that reads the store without serving: it may be
// opened beside a running service.
type Stock struct {
	Store  *store.Store
	Book   assess.Book
	Key    []byte
	Tenant string
}

// OpenStock opens the store of a configuration. Nothing is made: a store or key
// that is not there is an error.
func OpenStock(ctx context.Context, c Config) (*Stock, error) {
	if err := c.complete(); err != nil {
		return nil, err
	}
	book, err := LoadBook(c.BookFile)
	if err != nil {
		return nil, err
	}
	if !isPostgres(c.Store) {
		if _, err := os.Stat(c.Store); errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("there is no store at %s: name the data folder of the service with --data, or its database with --store", c.Store)
		}
	}
	key, err := LoadKey(c.KeyFile)
	if err != nil {
		return nil, err
	}
	st, err := store.Open(ctx, c.Store)
	if err != nil {
		return nil, fmt.Errorf("opening the store: %w", err)
	}
	return &Stock{Store: st, Book: book, Key: key, Tenant: c.Tenant}, nil
}
