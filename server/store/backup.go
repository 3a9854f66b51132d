package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	"enbloc/server/fault"
)

// Backup writes a copy of a SQLite database to a new file, readable for its
// owner only, while the service may go on working with it: the copy is the
// database as it was at one moment. It checks the copy before it returns. An
// existing file is a fault of kind Conflict, a database that is none of kind
// NotFound. A Postgres database is backed up with its own tools.
func Backup(ctx context.Context, path, to string) error {
	if _, err := os.Stat(path); err != nil {
		return &fault.Error{Op: "backing up database", Kind: fault.NotFound, Message: "There is no database file at " + path + "."}
	}
	// An empty file is what VACUUM INTO writes over, and the way to its mode.
	f, err := os.OpenFile(filepath.Clean(to), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return &fault.Error{Op: "backing up database", Kind: fault.Conflict, Message: "There is a file at " + to + " already. Nothing was overwritten; name another."}
	}
	if err != nil {
		return fmt.Errorf("creating backup file: %w", err)
	}
	if err := errors.Join(f.Close(), copyInto(ctx, path, to), soundFile(ctx, to)); err != nil {
		return errors.Join(translate("backing up database", err), os.Remove(to))
	}
	return nil
}

// copyInto copies at one moment (https://www.sqlite.org/lang_vacuum.html#vacuuminto).
func copyInto(ctx context.Context, path, to string) error {
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?_pragma=busy_timeout(10000)")
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `VACUUM INTO ?`, to)
	return errors.Join(err, db.Close())
}

// soundFile lets SQLite check a file, and brings it to the disk.
func soundFile(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?mode=ro")
	if err != nil {
		return err
	}
	var said string
	err = db.QueryRowContext(ctx, `PRAGMA integrity_check`).Scan(&said)
	if err == nil && said != "ok" {
		err = errors.New("checking backup: SQLite finds it damaged")
	}
	f, opened := os.OpenFile(filepath.Clean(path), os.O_RDWR, 0)
	if opened == nil {
		opened = errors.Join(f.Sync(), f.Close())
	}
	return errors.Join(err, db.Close(), opened)
}
