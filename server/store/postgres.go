package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// One process opens at most so many connections: its own, and those for what
// keeps its tables in the same database. Postgres allows 100 in all by default,
// so four replicas fit.
const (
	pool   = 18
	others = 6
)

// openPostgres opens a Postgres database by URL. Commits are as durable as the
// server's synchronous_commit says; leave it on.
func openPostgres(ctx context.Context, dsn string) (*Store, error) {
	config, err := pgx.ParseConfig(dsn)
	if err != nil {
		// The driver's text may quote the URL, and with it the password.
		return nil, errors.New("reading the database URL: it is not a Postgres URL")
	}
	own := sql.OpenDB(lateConnector{stdlib.GetConnector(*config, stdlib.OptionAfterConnect(planOnce), stdlib.OptionResetSession(writable))})
	other := stdlib.OpenDB(*config, stdlib.OptionResetSession(writable))
	for db, most := range map[*sql.DB]int{own: pool, other: others} {
		db.SetMaxOpenConns(most)
		db.SetMaxIdleConns(most)
		db.SetConnMaxIdleTime(5 * time.Minute)
	}
	s := &Store{reads: reads{ex: own, engine: Postgres}, engine: Postgres, writer: own, shared: other}
	if err := own.PingContext(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// writable lets go of a connection that was opened while the database might only
// be read: it would stay so when others may write again. From version 14 on
// Postgres says so without being asked.
func writable(_ context.Context, c *pgx.Conn) error {
	if c.PgConn().ParameterStatus("default_transaction_read_only") == "on" {
		return driver.ErrBadConn
	}
	return nil
}

// planOnce lets Postgres plan a statement once and not for each value. Every
// query of this package looks up by keys, or names in its text what is rare, so
// that a value can make no other plan better; left alone, Postgres planned every
// second one anew, for a twelfth of its time.
func planOnce(ctx context.Context, c *pgx.Conn) error {
	_, err := c.Exec(ctx, `SET plan_cache_mode = force_generic_plan`)
	return err
}
