package store

import (
	"context"
	"database/sql"
	"strconv"
	"strings"
	"sync"
)

// executor is what a pool and a transaction have in common.
type executor interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// reads holds every query of the contract, on a pool or in a transaction.
type reads struct {
	ex     executor
	engine Engine
	// gathered is set in a transaction on Postgres; what it holds goes first.
	gathered *gathered
}

func (r reads) exec(ctx context.Context, query string, args ...any) (sql.Result, error) {
	if err := r.gathered.send(ctx); err != nil {
		return nil, err
	}
	return r.ex.ExecContext(ctx, rebind(r.engine, query), args...)
}

func (r reads) row(ctx context.Context, query string, args ...any) scanner {
	if r.gathered.waiting() {
		return carried{ctx, r.gathered, query, args}
	}
	return r.ex.QueryRowContext(ctx, rebind(r.engine, query), args...)
}

// list runs a query and scans each row with scan. It closes the rows before it
// returns: an open result on the one SQLite connection would stop everything.
func list[T any](ctx context.Context, r reads, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	if r.gathered.waiting() {
		var all []T
		err := r.gathered.read(ctx, query, args, func(row scanner) error {
			one, err := scan(row)
			all = append(all, one)
			return err
		})
		return all, err
	}
	rows, err := r.ex.QueryContext(ctx, rebind(r.engine, query), args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []T
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}

// scanner is a row of either kind.
type scanner interface{ Scan(dest ...any) error }

// carried is the row of a query that goes with what is gathered.
type carried struct {
	ctx   context.Context
	with  *gathered
	query string
	args  []any
}

// Scan asks the query.
func (r carried) Scan(dest ...any) error {
	found := false
	err := r.with.read(r.ctx, r.query, r.args, func(row scanner) error {
		if found {
			return nil
		}
		found = true
		return row.Scan(dest...)
	})
	if err == nil && !found {
		return sql.ErrNoRows
	}
	return err
}

// rebound caches rewritten queries; their number is that of the queries here
// times the lengths of their lists.
var rebound sync.Map

// rebind turns the ? placeholders of SQLite into the $n of Postgres. No query
// of this package has a question mark anywhere else.
func rebind(e Engine, query string) string {
	if e != Postgres {
		return query
	}
	if q, ok := rebound.Load(query); ok {
		return q.(string)
	}
	var b strings.Builder
	n := 0
	for _, c := range []byte(query) {
		if c != '?' {
			b.WriteByte(c)
			continue
		}
		n++
		b.WriteString("$" + strconv.Itoa(n))
	}
	rebound.Store(query, b.String())
	return b.String()
}

// marks is a list of n placeholders.
func marks(n int) string {
	return strings.TrimSuffix(strings.Repeat("?, ", n), ", ")
}
