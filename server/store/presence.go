package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"sync"
	"time"
)

// A process that works the outbox of a Postgres shows that it lives by holding
// an advisory lock in a session of its own. The lock goes with the session, so
// that a process which was killed is known as dead at once and not only when
// its claims run out; one that merely stands still keeps it.
//
// A living process can lose its session too (Postgres restarts, a connection
// breaks). It notices within ProofLasts, takes the lock again, and until then
// must not work. Others believe in its death only after DeathGrace without the
// lock, which is longer.
const (
	// ProofLasts is how long an answer of the session counts as a sign of life.
	ProofLasts = 5 * time.Second
	// DeathGrace is how long a lock must have been free.
	DeathGrace = 8 * time.Second

	proofEvery = time.Second
)

// Presence is the sign of life of one process. It is safe for concurrent use.
type Presence struct {
	db   *sql.DB // nil on SQLite, which one process has to itself
	lock int64
	stop context.CancelFunc
	done chan struct{}

	mu     sync.Mutex
	conn   *sql.Conn
	proven time.Time
	life   context.Context //nolint:containedctx // it is what a lapse ends
	end    context.CancelFunc
}

// Appear takes the lock of a worker's name and keeps it until Leave. On SQLite
// nothing has to be kept.
func (s *Store) Appear(ctx context.Context, worker string) (*Presence, error) {
	p := &Presence{lock: presenceLock(worker), done: make(chan struct{})}
	p.life, p.end = context.WithCancel(context.Background())
	if s.engine != Postgres {
		return p, nil
	}
	p.db = s.writer
	if err := p.take(ctx); err != nil {
		return nil, translate("taking the lock of this process", err)
	}
	// It outlives whoever started the process's work; Leave ends it.
	ctx, p.stop = context.WithCancel(context.WithoutCancel(ctx))
	go p.keep(ctx)
	return p, nil
}

// presenceLock is the number of a worker's lock.
func presenceLock(worker string) int64 {
	sum := sha256.Sum256([]byte("enbloc worker " + worker))
	return int64(binary.BigEndian.Uint64(sum[:8])) //nolint:gosec // any 64 bits do
}

// take opens a session and locks in it. The last session may not have noticed
// that its connection broke; it is ours, so it is ended, and the next try gets
// the lock.
func (p *Presence) take(ctx context.Context) error {
	conn, err := p.db.Conn(ctx)
	if err != nil {
		return err
	}
	at := time.Now()
	var held bool
	err = conn.QueryRowContext(ctx, `SELECT pg_try_advisory_lock($1)`, p.lock).Scan(&held)
	if err == nil && !held {
		_, err = conn.ExecContext(ctx, `SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory' AND objsubid = 1 AND granted
			AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
			AND classid::bigint = ($1::bigint >> 32) & 4294967295 AND objid::bigint = $1::bigint & 4294967295`, p.lock)
		err = errors.Join(err, errors.New("the session before still held the lock"))
	}
	if err != nil {
		_ = conn.Close() // the session held nothing
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.conn = conn
	p.prove(at)
	return nil
}

// prove notes that the session held the lock at a time; p.mu is held.
func (p *Presence) prove(at time.Time) {
	if p.proven = at; p.life.Err() != nil {
		p.life, p.end = context.WithCancel(context.Background())
	}
}

// keep asks the session again and again, and takes the lock anew when it broke.
func (p *Presence) keep(ctx context.Context) {
	defer close(p.done)
	tick := time.NewTicker(proofEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			p.drop()
			return
		case <-tick.C:
		}
		p.mu.Lock()
		conn, left := p.conn, time.Until(p.proven.Add(ProofLasts))
		p.mu.Unlock()
		lapse := time.AfterFunc(left, p.lapse)
		try, cancel := context.WithTimeout(ctx, ProofLasts)
		var err error
		if at := time.Now(); conn != nil {
			if _, err = conn.ExecContext(try, `SELECT 1`); err == nil {
				p.mu.Lock()
				p.prove(at)
				p.mu.Unlock()
			} else if ctx.Err() == nil {
				p.drop()
				conn = nil
			}
		}
		if conn == nil {
			err = p.take(try)
		}
		cancel()
		if err == nil {
			lapse.Stop()
		}
	}
}

// lapse ends the sign of life, unless it was renewed meanwhile.
func (p *Presence) lapse() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if time.Since(p.proven) >= ProofLasts {
		p.end()
	}
}

// drop ends the session, and with it the lock.
func (p *Presence) drop() {
	p.mu.Lock()
	conn := p.conn
	p.conn = nil
	p.mu.Unlock()
	if conn != nil {
		endSession(conn)
	}
}

// Life ends when the process may not work any more, because others may believe
// that it died. What is begun later needs the Life of that time.
func (p *Presence) Life() context.Context {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.db != nil && time.Since(p.proven) >= ProofLasts {
		p.end()
	}
	return p.life
}

// Leave gives the lock back. End the work first.
func (p *Presence) Leave() {
	if p.stop != nil {
		p.stop()
		<-p.done
	}
	p.end()
}

// Unlocked returns those of the workers whose lock nobody holds now.
func (s *Store) Unlocked(ctx context.Context, workers []string) ([]string, error) {
	if s.engine != Postgres || len(workers) == 0 {
		return nil, nil
	}
	// https://www.postgresql.org/docs/15/view-pg-locks.html: a lock by one 64-bit
	// number shows its halves in classid and objid, and 1 in objsubid.
	scan := func(row scanner) (int64, error) {
		var high, low int64
		err := row.Scan(&high, &low)
		return high<<32 | low, err
	}
	held, err := list(ctx, s.reads, scan, `SELECT classid::bigint, objid::bigint FROM pg_locks WHERE locktype = 'advisory' AND objsubid = 1 AND granted
		AND database = (SELECT oid FROM pg_database WHERE datname = current_database())`)
	if err != nil {
		return nil, translate("reading locks", err)
	}
	taken := make(map[int64]bool, len(held))
	for _, lock := range held {
		taken[lock] = true
	}
	var free []string
	for _, w := range workers {
		if !taken[presenceLock(w)] {
			free = append(free, w)
		}
	}
	return free, nil
}

// Holders are the workers in whose hands rows are.
func (r reads) Holders(ctx context.Context) ([]string, error) {
	scan := func(row scanner) (name string, err error) {
		err = row.Scan(&name)
		return name, err
	}
	all, err := list(ctx, r, scan, `SELECT DISTINCT claimed_by FROM deliveries WHERE state = 'sending'`)
	return all, translate("listing workers", err)
}
