package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // registers "pgx"
)

// pool is how many connections one process opens at most. Postgres allows 100
// in all by default, so four replicas fit.
const pool = 24

// openPostgres opens a Postgres database by URL. Commits are as durable as the
// server's synchronous_commit says; leave it on.
func openPostgres(ctx context.Context, dsn string) (*Store, error) {
	db, err := sql.Open("pgx", dsn)
	if err != nil {
		// The driver's text may quote the URL, and with it the password.
		return nil, errors.New("reading the database URL: it is not a Postgres URL")
	}
	db.SetMaxOpenConns(pool)
	db.SetMaxIdleConns(pool)
	db.SetConnMaxIdleTime(5 * time.Minute)
	if err := db.PingContext(ctx); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return &Store{reads: reads{ex: db, engine: Postgres}, engine: Postgres, writer: db, reader: db}, nil
}
