package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// lateConnector opens connections to Postgres whose transactions begin with their
// first statement and can end with their last: four messages there and back in
// the life of a case are spared, and the two processes that each would wake.
type lateConnector struct{ driver.Connector }

// Connect implements driver.Connector.
func (c lateConnector) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	return &lateConn{Conn: conn.(*stdlib.Conn)}, nil
}

// rollbackPatience is how long Postgres may take to undo a transaction.
const rollbackPatience = 5 * time.Second

// lateConn is used by one goroutine at a time, as database/sql promises.
type lateConn struct {
	*stdlib.Conn
	// promised: database/sql has begun a transaction, Postgres has not yet.
	promised bool
}

// unbegun is the loss of a connection before a transaction began on it: nothing
// was done, so the same can be done on another.
type unbegun struct{ error }

func (e unbegun) Unwrap() error { return e.error }

// BeginTx promises a transaction.
func (c *lateConn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	if o != (driver.TxOptions{}) {
		return c.Conn.BeginTx(ctx, o)
	}
	c.promised = true
	return &lateTx{ctx, c}, nil
}

// begin keeps the promise.
func (c *lateConn) begin(ctx context.Context) error {
	if !c.promised {
		return nil
	}
	_, err := c.Conn.Conn().Exec(ctx, "begin")
	return c.begun(err)
}

// begun takes Postgres's answer to the beginning.
func (c *lateConn) begun(err error) error {
	if err == nil {
		c.promised = false
		return nil
	}
	if connectionLost(err) {
		return unbegun{err}
	}
	return err
}

// ExecContext implements driver.ExecerContext.
func (c *lateConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	if err := c.begin(ctx); err != nil {
		return nil, err
	}
	return c.Conn.ExecContext(ctx, query, args)
}

// QueryContext implements driver.QueryerContext.
func (c *lateConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	if err := c.begin(ctx); err != nil {
		return nil, err
	}
	return c.Conn.QueryContext(ctx, query, args)
}

// PrepareContext implements driver.ConnPrepareContext.
func (c *lateConn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	if err := c.begin(ctx); err != nil {
		return nil, err
	}
	return c.Conn.PrepareContext(ctx, query)
}

type lateTx struct {
	ctx  context.Context //nolint:containedctx // database/sql gives it at the beginning only
	conn *lateConn
}

// Commit commits what was not committed yet.
func (t *lateTx) Commit() error {
	if t.over() {
		return nil
	}
	done, err := t.conn.Conn.Conn().Exec(t.ctx, "commit")
	if err == nil && done.String() == "ROLLBACK" { // a statement before had failed
		return pgx.ErrTxCommitRollback
	}
	return err
}

// Rollback undoes what was begun.
func (t *lateTx) Rollback() error {
	c := t.conn.Conn.Conn()
	if t.over() || c.IsClosed() {
		return nil
	}
	// The context may be what ended the transaction.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(t.ctx), rollbackPatience)
	defer cancel()
	_, err := c.Exec(ctx, "rollback")
	if err != nil { // nobody may go on in what is still open
		return errors.Join(err, c.Close(ctx))
	}
	return nil
}

// over reports whether there is nothing to end, because it never began or has
// been committed.
func (t *lateTx) over() bool {
	over := t.conn.promised || t.conn.Conn.Conn().PgConn().TxStatus() == 'I'
	t.conn.promised = false
	return over
}
