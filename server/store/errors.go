package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"io"
	"net"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlitelib "modernc.org/sqlite/lib"

	"enbloc/server/fault"
)

// translate gives a database error its kind. The texts of both drivers name
// tables, columns and constraints; Postgres puts values only into its detail
// field, which is not part of the text.
func translate(op string, err error) error {
	if err == nil {
		return nil
	}
	var already *fault.Error
	if errors.As(err, &already) || errors.Is(err, context.Canceled) {
		return err
	}
	return fault.Wrap(op, kindOf(err), err)
}

func kindOf(err error) fault.Kind {
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		return sqliteKind(lite.Code())
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return postgresKind(pg.Code)
	}
	var network net.Error
	var connect *pgconn.ConnectError
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fault.NotFound
	case errors.As(err, &network), errors.As(err, &connect), connectionLost(err), errors.Is(err, context.DeadlineExceeded):
		return fault.Unavailable
	}
	return fault.Internal
}

// connectionLost reports that a connection of the pool ended under the
// statement: it says nothing about whether the database is there now.
func connectionLost(err error) bool {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return strings.HasPrefix(pg.Code, "08") || pg.Code == "57P01" || pg.Code == "57P02" // ended, crashed
	}
	return errors.Is(err, sql.ErrConnDone) || errors.Is(err, driver.ErrBadConn) || errors.Is(err, pgconn.ErrConnClosed) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}

// sqliteKind reads a result code (https://www.sqlite.org/rescode.html); the low
// eight bits are the primary code.
func sqliteKind(code int) fault.Kind {
	switch code {
	case sqlitelib.SQLITE_CONSTRAINT_UNIQUE, sqlitelib.SQLITE_CONSTRAINT_PRIMARYKEY:
		return fault.Conflict
	}
	switch code & 0xff {
	case sqlitelib.SQLITE_FULL, sqlitelib.SQLITE_READONLY, sqlitelib.SQLITE_IOERR, sqlitelib.SQLITE_CANTOPEN,
		sqlitelib.SQLITE_BUSY, sqlitelib.SQLITE_LOCKED, sqlitelib.SQLITE_INTERRUPT, sqlitelib.SQLITE_NOMEM:
		return fault.Unavailable
	}
	return fault.Internal
}

// postgresKind reads an SQLSTATE by its class
// (https://www.postgresql.org/docs/15/errcodes-appendix.html).
func postgresKind(state string) fault.Kind {
	if state == "23505" { // unique_violation
		return fault.Conflict
	}
	if len(state) < 2 {
		return fault.Internal
	}
	switch state[:2] {
	case "08", "25", "40", "53", "57", "58": // connection, read-only, rollback, resources, operator, system
		return fault.Unavailable
	}
	return fault.Internal
}
