package store

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
)

// readers is how many connections serve reads of committed data on SQLite.
// WAL lets them run beside the writer; more than a few gain nothing.
const readers = 4

// openSQLite opens a file with one writing connection. Measured on two cores:
// several writers buy no throughput and ruin the slowest answers, because they
// wait for each other inside SQLite.
func openSQLite(ctx context.Context, path string) (*Store, error) {
	if path == "" {
		return nil, errors.New("naming the database: the path is empty")
	}
	if err := ownerOnly(path); err != nil {
		return nil, err
	}
	writer, err := openPrepared(sqliteURL(path, "&_txlock=immediate"+roomy))
	if err != nil {
		return nil, err
	}
	writer.SetMaxOpenConns(1)
	// The first use sets WAL in the file, before a reader opens it.
	if err := writer.PingContext(ctx); err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	reader, err := openPrepared(sqliteURL(path, "&_pragma=query_only(1)"))
	if err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	reader.SetMaxOpenConns(readers)
	return &Store{reads: reads{ex: reader, engine: SQLite}, engine: SQLite, writer: writer, shared: writer, reader: reader, together: newTogether(writer)}, nil
}

// roomy gives the writer a cache of 32 MiB, and a log of up to 16 MiB before it
// goes into the file: the same pages are written again and again, and so once.
const roomy = "&_pragma=cache_size(-32768)&_pragma=wal_autocheckpoint(4096)"

// sqliteURL spells out every setting that durability hangs on. synchronous FULL
// is what makes a commit survive a loss of power in WAL mode
// (https://www.sqlite.org/pragma.html#pragma_synchronous).
func sqliteURL(path, more string) string {
	return "file:" + (&url.URL{Path: path}).EscapedPath() +
		"?_pragma=busy_timeout(10000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)" + more
}

// ownerOnly creates the file with mode 0600 before SQLite would with 0644; the
// write-ahead log inherits the mode.
func ownerOnly(path string) error {
	f, err := os.OpenFile(filepath.Clean(path), os.O_CREATE|os.O_RDWR, 0o600)
	if errors.Is(err, os.ErrPermission) {
		// A read-only file is reported by the first write, as a fault.
		return nil
	}
	if err != nil {
		return fmt.Errorf("creating database file: %w", err)
	}
	return f.Close()
}
