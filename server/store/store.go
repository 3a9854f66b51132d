// Package store keeps what the service has accepted and what it has delivered:
// cases and their documents, the outbox, the ledger of each target, and the
// answers of idempotent requests.
//
// It promises four things. What [Store.InTx] has committed survives a crash of
// the process and, on SQLite with its default settings here, a loss of power.
// Everything written in one InTx is there together or not at all. The same
// contract holds on SQLite and on Postgres; package storetest checks it on
// both. And no error of this package holds a stored value: bodies and business
// identifiers stay inside.
//
// SQLite has one writer connection. A call of a Store method inside InTx uses
// another connection and does not see what the transaction has written; inside
// InTx use the methods of [Tx] only. Never hold a transaction across a network
// call: on SQLite it stops every other writer.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"enbloc/server/fault"
)

// Engine names the database below a store.
type Engine string

// The two engines.
const (
	SQLite   Engine = "sqlite"
	Postgres Engine = "postgres"
)

// Store is an open database. Its read methods see what is committed; writing
// goes through [Store.InTx]. It is safe for concurrent use.
type Store struct {
	reads
	engine Engine
	writer *sql.DB
	// shared is the pool that others use too.
	shared *sql.DB
	// reader reads on SQLite; nil on Postgres.
	reader *sql.DB
	// together runs the transactions on SQLite; nil on Postgres.
	together *together
}

// Tx is one transaction: every read and every write of the contract.
type Tx struct {
	reads
	sql    *sql.Tx
	locked []string // on Postgres
	after  []func()
}

// AfterCommit has fn called when the transaction is committed, and not otherwise.
func (t *Tx) AfterCommit(fn func()) { t.after = append(t.after, fn) }

// SQL is the transaction itself, for a queue that writes into the same one.
func (t *Tx) SQL() *sql.Tx { return t.sql }

// Open opens the database at dsn, creates or migrates its tables, and returns
// it. A dsn that begins with postgres:// or postgresql:// is a Postgres URL;
// anything else is the path of a SQLite file, which is created, readable for
// its owner only, when it is not there. Only one service may use a SQLite file.
func Open(ctx context.Context, dsn string) (*Store, error) {
	open := openSQLite
	if strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://") {
		open = openPostgres
	}
	s, err := open(ctx, dsn)
	if err != nil {
		return nil, translate("opening database", err)
	}
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(translate("migrating database", err), s.Close())
	}
	return s, nil
}

// Engine says which database is below.
func (s *Store) Engine() Engine { return s.engine }

// Placeholder is how the engine spells the first argument of a query.
func (s *Store) Placeholder() string { return rebind(s.engine, "?") }

// DB is a writing pool, for a queue that keeps its tables in the same database.
// On SQLite it has one connection: never hold rows open on it.
func (s *Store) DB() *sql.DB { return s.shared }

// InTx runs fn in one transaction and commits it when fn returns nil; it rolls
// back when fn returns an error or panics. When InTx returns nil the writes are
// durable. Two transactions that write the same case are serialised on SQLite;
// on Postgres take [Tx.LockCase] first. fn must not call the network, and may
// run again when nothing of it was kept, so it must not add to anything outside.
func (s *Store) InTx(ctx context.Context, fn func(*Tx) error) error {
	var last *Tx // fn may run again
	call := func(tx *Tx) error {
		last = tx
		return fn(tx)
	}
	inTx := s.inTx
	if s.together != nil {
		inTx = s.inSharedTx
	}
	if err := inTx(ctx, call); err != nil {
		return err
	}
	for _, after := range last.after {
		after()
	}
	return nil
}

// inSharedTx is InTx on SQLite, where transactions share commits.
func (s *Store) inSharedTx(ctx context.Context, fn func(*Tx) error) error {
	var failed error
	err := s.together.run(ctx, func(tx *sql.Tx) error {
		failed = fn(&Tx{reads: reads{ex: tx, engine: s.engine}, sql: tx})
		return failed
	})
	if failed != nil {
		return failed
	}
	return translate("committing transaction", err)
}

// inTx is InTx on Postgres, which lets transactions share a commit by itself.
// After a restart of Postgres the pool still holds connections of the old one:
// where nothing was begun, it goes on to the next connection until one lives or a
// new one is refused.
func (s *Store) inTx(ctx context.Context, fn func(*Tx) error) error {
	for tries := 0; ; tries++ {
		err := s.inTxOnce(ctx, fn)
		if !errors.As(err, new(unbegun)) || tries > pool || ctx.Err() != nil {
			return err
		}
	}
}

func (s *Store) inTxOnce(ctx context.Context, fn func(*Tx) error) error {
	conn, err := s.writer.Conn(ctx)
	if err != nil {
		return translate("beginning transaction", err)
	}
	defer conn.Close() //nolint:errcheck // back to the pool
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return translate("beginning transaction", err)
	}
	// Rollback after a commit is a no-op; after a panic it frees the connection.
	defer tx.Rollback() //nolint:errcheck // the first error is the one to report
	g := &gathered{conn: conn}
	if err := fn(&Tx{reads: reads{tx, s.engine, g}, sql: tx}); err != nil {
		return err
	}
	if g.waiting() && g.last {
		if err := g.sendAndCommit(ctx); err != nil {
			return err
		}
		_ = tx.Commit() // tells database/sql, whose context may end here
		return nil
	}
	if err := g.send(ctx); err != nil { // a lock that nothing came after
		return err
	}
	return translate("committing transaction", tx.Commit())
}

// Ready reports whether the store can write now; the error is a fault of kind
// Unavailable when it cannot.
func (s *Store) Ready(ctx context.Context) error {
	return s.InTx(ctx, func(tx *Tx) error {
		// A write that changes nothing still needs a writable file and a lock.
		_, err := tx.exec(ctx, `UPDATE idempotency SET status = status WHERE tenant = ? AND key = ?`, "", "")
		return translate("probing database", err)
	})
}

// Close closes the database. Stop everything that uses it first.
func (s *Store) Close() error {
	err := s.writer.Close()
	if s.shared != s.writer {
		err = errors.Join(err, s.shared.Close())
	}
	if s.reader != nil {
		err = errors.Join(err, s.reader.Close())
	}
	if err != nil {
		return fmt.Errorf("closing database: %w", err)
	}
	return nil
}

// micros and fromMicros are the stored form of a time; the zero time is 0.
func micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

func fromMicros(us int64) time.Time {
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}

func flag(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// notFound is the fault for a subject that is not stored.
func notFound(what string) error {
	return fault.New(fault.NotFound, "There is no such "+what+".")
}
