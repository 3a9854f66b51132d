package store

import (
	"context"
	"database/sql"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"enbloc/server/fault"
)

// gathered are the locks and writes of a transaction on Postgres that are not
// sent yet. One of its own waits for the network there and back, and wakes a
// process on either side; a dozen sent together do so once.
type gathered struct {
	conn  *sql.Conn
	open  bool
	last  bool // the commit goes along with what is gathered now
	batch *pgx.Batch
	// settle holds a judgement for each statement of the batch.
	settle []judgement
}

// judgement is what becomes of an answer to a statement.
type judgement func(pgconn.CommandTag, error) error

// errOutside: the transaction ended before its writes were sent. They must not
// go out, as each would be a transaction of its own.
var errOutside = errors.New("the transaction has ended")

// Gather lets the writes that fn makes go to Postgres in one go, in their order,
// when fn returns nil, or before a read in fn. A write in fn returns nil though
// it may fail yet: Gather returns the first error, as the write would have. On
// SQLite, where nothing travels, and inside another Gather it only calls fn.
func (t *Tx) Gather(ctx context.Context, fn func() error) error {
	g := t.gathered
	if g == nil || g.open {
		return fn()
	}
	g.open = true
	defer func() { g.open = false }()
	if err := fn(); err != nil {
		g.batch, g.settle = nil, nil // the caller's error undoes the transaction
		return err
	}
	return g.send(ctx)
}

// Last is Gather for the writes that end a transaction: on Postgres they go along
// with its commit, and an error of theirs is that of InTx. Nothing may follow it.
func (t *Tx) Last(ctx context.Context, fn func() error) error {
	g := t.gathered
	if g == nil {
		return fn()
	}
	g.open, g.last = true, true
	err := fn()
	if err != nil {
		g.batch, g.settle = nil, nil // the caller's error undoes the transaction
	}
	return err
}

// Write makes a write into a table that somebody else keeps in the same database,
// such as a queue. In a Gather it goes with the writes beside it.
func (t *Tx) Write(ctx context.Context, op, query string, args ...any) error {
	return t.write(ctx, op, query, args...)
}

// write makes a write that may touch any number of rows.
func (t *Tx) write(ctx context.Context, op, query string, args ...any) error {
	return t.writeOne(ctx, op, nil, query, args...)
}

// writeOne makes a write; none, where given, is the error when it touches no row.
func (t *Tx) writeOne(ctx context.Context, op string, none *fault.Error, query string, args ...any) error {
	if g := t.gathered; g != nil && g.open {
		g.add(op, none, query, args)
		return nil
	}
	res, err := t.exec(ctx, query, args...)
	if err != nil || none == nil {
		return translate(op, err)
	}
	return oneRow(res, none)
}

func (g *gathered) add(op string, none *fault.Error, query string, args []any) {
	if g.batch == nil {
		g.batch = &pgx.Batch{}
	}
	query = rebind(Postgres, query)
	if none != nil && g.last {
		query = failing(query)
	}
	g.batch.Queue(query, args...)
	g.settle = append(g.settle, func(done pgconn.CommandTag, err error) error {
		var pg *pgconn.PgError
		if none != nil && (err == nil && done.RowsAffected() == 0 || errors.As(err, &pg) && pg.Code == divisionByZero) {
			return none
		}
		return translate(op, err)
	})
}

const divisionByZero = "22012"

// failing makes a write that touches no row fail on Postgres itself, so that a
// commit which is on its way behind it is not done.
func failing(query string) string {
	return `WITH touched AS (` + query + ` RETURNING 1) SELECT 1 / count(*) FROM touched`
}

// waiting reports whether something waits to be sent.
func (g *gathered) waiting() bool { return g != nil && g.batch != nil }

// send sends what is gathered.
func (g *gathered) send(ctx context.Context) error {
	if !g.waiting() {
		return nil
	}
	return g.exchange(ctx, nil)
}

// sendAndCommit sends what is gathered and the commit behind it, which Postgres
// leaves undone when something before it fails.
func (g *gathered) sendAndCommit(ctx context.Context) error {
	g.add("committing transaction", nil, "commit", nil)
	return g.exchange(ctx, nil)
}

// read sends a query behind what is gathered, and calls each for its rows.
func (g *gathered) read(ctx context.Context, query string, args []any, each func(scanner) error) error {
	g.batch.Queue(rebind(Postgres, query), args...)
	return g.exchange(ctx, func(results pgx.BatchResults) error {
		rows, err := results.Query()
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			if err := each(rows); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// exchange sends the batch and judges its results; what follows them is for then.
// It uses the connection below the transaction, so it makes sure that the
// transaction is still open on it: database/sql ends one by itself when its
// context ends.
func (g *gathered) exchange(ctx context.Context, then func(pgx.BatchResults) error) error {
	batch, settle := g.batch, g.settle
	g.batch, g.settle = nil, nil
	return g.conn.Raw(func(driver any) error {
		late := driver.(*lateConn)
		c := late.Conn.Conn()
		if !late.promised && c.PgConn().TxStatus() != 'T' {
			return translate("sending writes", errors.Join(errOutside, ctx.Err()))
		}
		if late.promised {
			batch, settle = g.beginFirst(late, batch, settle)
		}
		results := c.SendBatch(ctx, batch)
		for _, judge := range settle {
			if err := judge(results.Exec()); err != nil {
				_ = results.Close() // it repeats the error
				return err
			}
		}
		if then != nil {
			if err := then(results); err != nil {
				_ = results.Close()
				return err
			}
		}
		return translate("sending writes", results.Close())
	})
}

// beginFirst puts the beginning of the transaction in front of a batch.
func (g *gathered) beginFirst(c *lateConn, batch *pgx.Batch, settle []judgement) (*pgx.Batch, []judgement) {
	all := &pgx.Batch{}
	all.Queue("begin")
	all.QueuedQueries = append(all.QueuedQueries, batch.QueuedQueries...)
	began := func(_ pgconn.CommandTag, err error) error {
		lost := c.begun(err)
		if lost != nil && g.last {
			lost = err // the commit may have been on its way, so this must not be done again
		}
		return translate("beginning transaction", lost)
	}
	return all, append([]judgement{began}, settle...)
}
