package store

import (
	"context"
	"database/sql"
	"errors"
	"sync/atomic"
	"time"
)

// together lets transactions that wait for each other on SQLite's one writing
// connection share a commit: the disk is waited for once for all of them
// (group commit; DeWitt et al., SIGMOD 1984, https://doi.org/10.1145/602259.602261).
// Each runs in a savepoint of its own, so that one which fails takes nothing
// with it, and returns when the commit that holds it is on the disk.
type together struct {
	db *sql.DB
	// turn is held by whoever writes; waiting counts those who will hold it.
	turn    chan struct{}
	waiting atomic.Int32
	open    *group // of whoever wrote last and left the commit to the next
	longest time.Duration
}

const (
	// mostTogether bounds how many wait for one commit, and longestTogether for
	// how long a commit is put off: about what it costs to wait for a disk.
	mostTogether    = 16
	longestTogether = 2 * time.Millisecond
)

func newTogether(db *sql.DB) *together {
	return &together{db: db, turn: make(chan struct{}, 1), longest: longestTogether}
}

// group is one transaction of the database.
type group struct {
	tx      *sql.Tx
	began   time.Time
	members int
	// broken: SQLite has rolled back everything, as it does when a write is
	// interrupted or the disk is full (https://www.sqlite.org/lang_transaction.html).
	broken bool
	done   chan struct{}
	err    error // of beginning or of the commit; set before done is closed
}

// errBroken: the group came to nothing by the fault of another member.
var errBroken = errors.New("another transaction of the same commit broke it")

// run runs fn in a transaction as InTx promises it.
func (w *together) run(ctx context.Context, fn func(*sql.Tx) error) error {
	for tries := 0; ; tries++ {
		err := w.once(ctx, fn)
		if !errors.Is(err, errBroken) || tries == mostTogether {
			return err
		}
	}
}

func (w *together) once(ctx context.Context, fn func(*sql.Tx) error) error {
	w.waiting.Add(1)
	select {
	case w.turn <- struct{}{}:
	case <-ctx.Done():
		go w.leave()
		return ctx.Err()
	}
	w.waiting.Add(-1)
	g := w.join(ctx)
	if g.err != nil {
		w.pass(g)
		return g.err
	}
	panicked, err := g.member(ctx, fn)
	w.pass(g)
	<-g.done
	switch {
	case panicked != nil:
		panic(panicked) // the caller's own, in its own goroutine
	case err != nil:
		return err
	case g.broken:
		return errBroken
	}
	return g.err
}

// join is the open group, or a new one. It outlives the context that began it.
func (w *together) join(ctx context.Context) *group {
	if w.open == nil {
		w.open = &group{began: time.Now(), done: make(chan struct{})}
		w.open.tx, w.open.err = w.db.BeginTx(context.WithoutCancel(ctx), nil)
	}
	w.open.members++
	return w.open
}

// pass gives the turn on, and ends the group when nobody waits for it.
func (w *together) pass(g *group) {
	if g != nil && (g.err != nil || g.broken || g.members >= mostTogether || time.Since(g.began) > w.longest || w.waiting.Load() == 0) {
		w.open = nil
		g.end()
	}
	<-w.turn
}

// leave takes the turn of one who could not wait: a group may count on it.
func (w *together) leave() {
	w.turn <- struct{}{}
	w.waiting.Add(-1)
	w.pass(w.open)
}

func (g *group) end() {
	switch {
	case g.err != nil: // it never began
	case g.broken:
		_ = g.tx.Rollback() // frees the connection; there is nothing to roll back
	default:
		g.err = g.tx.Commit()
	}
	close(g.done)
}

// member runs fn in a savepoint.
func (g *group) member(ctx context.Context, fn func(*sql.Tx) error) (panicked any, err error) {
	ctx = context.WithoutCancel(ctx) // an interrupted savepoint would break the group
	if _, err := g.tx.ExecContext(ctx, `SAVEPOINT member`); err != nil {
		g.broken = true
		return nil, err
	}
	func() {
		defer func() { panicked = recover() }()
		err = fn(g.tx)
	}()
	if err != nil || panicked != nil {
		if _, lost := g.tx.ExecContext(ctx, `ROLLBACK TO member`); lost != nil {
			g.broken = true
			return panicked, errors.Join(err, lost)
		}
	}
	if _, released := g.tx.ExecContext(ctx, `RELEASE member`); released != nil {
		g.broken = true
		err = errors.Join(err, released)
	}
	return panicked, err
}
