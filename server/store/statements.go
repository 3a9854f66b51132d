package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"

	"modernc.org/sqlite"
)

// openPrepared opens a pool on SQLite whose connections keep their statements
// compiled: to parse one anew often costs more than to run it, and the queue's
// are not ours to prepare. Postgres' driver does the same by itself.
func openPrepared(dsn string) (*sql.DB, error) {
	inner, err := sqlite.NewConnector(dsn)
	if err != nil {
		return nil, err
	}
	return sql.OpenDB(connector{inner}), nil
}

type connector struct{ driver.Connector }

// Connect implements driver.Connector.
func (c connector) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	whole, ok := conn.(wholeConn)
	if !ok {
		return nil, errors.Join(errors.New("opening connection: the driver is not the one that this was written for"), conn.Close())
	}
	return &connection{wholeConn: whole, idle: map[string]driver.Stmt{}}, nil
}

// wholeConn is what the driver's connections can do.
type wholeConn interface {
	driver.Conn
	driver.ConnBeginTx
	driver.ConnPrepareContext
	driver.ExecerContext
	driver.QueryerContext
	driver.Pinger
	driver.SessionResetter
	driver.Validator
}

// mostStatements bounds what a connection keeps. The texts are those of this
// package and of the queue, times the lengths of their lists.
const mostStatements = 300

// connection keeps compiled statements by their texts. Like every driver's it
// serves one caller at a time, but may have several results open. SQLite
// compiles a kept statement again by itself when the tables have changed.
type connection struct {
	wholeConn
	idle map[string]driver.Stmt // nil once it is closed
}

// take hands out a statement for one use.
func (c *connection) take(ctx context.Context, text string) (driver.Stmt, error) {
	if stmt, ok := c.idle[text]; ok {
		delete(c.idle, text) // while its result is open nobody else can run it
		return stmt, nil
	}
	return c.PrepareContext(ctx, text)
}

func (c *connection) give(text string, stmt driver.Stmt) error {
	if _, twice := c.idle[text]; twice || c.idle == nil || len(c.idle) >= mostStatements {
		return stmt.Close()
	}
	c.idle[text] = stmt
	return nil
}

// ExecContext implements driver.ExecerContext.
func (c *connection) ExecContext(ctx context.Context, text string, args []driver.NamedValue) (driver.Result, error) {
	stmt, err := c.take(ctx, text)
	if err != nil {
		return nil, err
	}
	result, err := stmt.(driver.StmtExecContext).ExecContext(ctx, args)
	return result, errors.Join(err, c.give(text, stmt))
}

// QueryContext implements driver.QueryerContext.
func (c *connection) QueryContext(ctx context.Context, text string, args []driver.NamedValue) (driver.Rows, error) {
	stmt, err := c.take(ctx, text)
	if err != nil {
		return nil, err
	}
	rows, err := stmt.(driver.StmtQueryContext).QueryContext(ctx, args)
	if err != nil {
		return nil, errors.Join(err, c.give(text, stmt))
	}
	return &result{rows, func() error { return c.give(text, stmt) }}, nil
}

// result gives its statement back when it is closed.
type result struct {
	driver.Rows
	done func() error
}

// Close implements driver.Rows.
func (r *result) Close() error {
	err := r.Rows.Close()
	if r.done != nil {
		err = errors.Join(err, r.done())
		r.done = nil
	}
	return err
}

// Close implements driver.Conn.
func (c *connection) Close() error {
	var err error
	for _, stmt := range c.idle {
		err = errors.Join(err, stmt.Close())
	}
	c.idle = nil
	return errors.Join(err, c.wholeConn.Close())
}
