package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"enbloc/server/internal/child"
	"enbloc/server/store"
)

// key is the identity key of every run; obviously no secret.
var key = []byte("HTEST pile key, no secret, 32 b.")

// lab is what both measurements need: the program, a sink that it delivers to,
// and databases of their own that go when it closes.
type lab struct {
	store, binary, folder string
	say                   func(format string, args ...any)
	sink                  *sink
	supply                supply
	drops                 []func()
}

func openLab(ctx context.Context, c config) (*lab, error) {
	folder, err := os.MkdirTemp(c.Folder, "enbloc-pile-")
	if err != nil {
		return nil, fmt.Errorf("making folder: %w", err)
	}
	l := &lab{store: c.Store, binary: c.Binary, folder: folder, say: c.Say}
	if l.binary == "" {
		l.binary = filepath.Join(folder, "enbloc")
		err = child.Build(ctx, l.binary)
	}
	if err == nil {
		l.sink, err = openSink(ctx)
	}
	if err != nil {
		l.close()
		return nil, err
	}
	return l, nil
}

func (l *lab) close() {
	if l.sink != nil {
		l.sink.close()
	}
	for _, drop := range l.drops {
		drop()
	}
	_ = os.RemoveAll(l.folder)
}

// database is a new one.
func (l *lab) database(ctx context.Context, name string) (folder, dsn string, err error) {
	folder = filepath.Join(l.folder, name)
	if err := os.Mkdir(folder, 0o700); err != nil {
		return "", "", fmt.Errorf("making folder: %w", err)
	}
	dsn, drop, err := child.Database(ctx, l.store, folder)
	if err == nil {
		l.drops = append(l.drops, drop)
	}
	return folder, dsn, err
}

// program is the program on a new database, not started yet.
func (l *lab) program(ctx context.Context, name string) (p *child.Program, dsn string, err error) {
	folder, dsn, err := l.database(ctx, name)
	if err != nil {
		return nil, "", err
	}
	p, err = child.New(ctx, child.Options{Binary: l.binary, Folder: folder, Store: dsn, Target: l.sink.address, Name: "sink", Key: key})
	return p, dsn, err
}

// settle stops the program and makes sure that what was measured was right.
func (l *lab) settle(ctx context.Context, p *child.Program) error {
	if err := p.Stop(ctx); err != nil {
		return err
	}
	if n := l.sink.refused.Load(); n > 0 {
		return fmt.Errorf("delivering: the sink could not answer %d requests, so deliveries did not go as to a hospital", n)
	}
	return nil
}

// delivered makes sure that all rows of a store were delivered, or overtaken by
// a later state that was.
func delivered(ctx context.Context, dsn string) error {
	st, err := store.Open(ctx, dsn)
	if err != nil {
		return err
	}
	defer st.Close() //nolint:errcheck // only read
	var others int
	query := `SELECT count(*) FROM deliveries WHERE state NOT IN ('delivered', 'superseded')`
	if err := st.DB().QueryRowContext(ctx, query).Scan(&others); err != nil {
		return fmt.Errorf("counting deliveries: %w", err)
	}
	if others > 0 {
		return fmt.Errorf("delivering: %d rows were not delivered as they are to a hospital", others)
	}
	return nil
}

// explain adds the program's last words to an error.
func (l *lab) explain(err error, p *child.Program) error {
	return errors.Join(err, errors.New(p.LastWords()))
}
