package store

import (
	"context"
	"database/sql"
	"sync"
)

// prepared keeps long statements compiled on SQLite's one writing connection:
// to parse an insert of 32 rows anew costs more than to run it. Postgres' driver
// does the same by itself.
//
// A statement cannot be prepared inside a transaction, which holds the only
// connection; so one that was missed is noted, and prepared before the next.
type prepared struct {
	mu     sync.Mutex
	known  map[string]*sql.Stmt // nil while it is not prepared
	wanted []string
}

// prepare prepares what was missed. A failure is no failure: the statement
// runs unprepared, and says what is wrong when it runs. The lock is not held
// while the connection is waited for: who has the connection may want the lock.
func (p *prepared) prepare(ctx context.Context, db *sql.DB) {
	for _, query := range p.take() {
		stmt, err := db.PrepareContext(ctx, query)
		if err != nil {
			return
		}
		p.put(query, stmt)
	}
}

// take hands out what is wanted, once.
func (p *prepared) take() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	wanted := p.wanted
	p.wanted = nil
	return wanted
}

func (p *prepared) put(query string, stmt *sql.Stmt) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.known == nil {
		stmt.Close() //nolint:errcheck // the store was closed meanwhile
		return
	}
	p.known[query] = stmt
}

// get returns the statement, or notes that it is wanted.
func (p *prepared) get(query string) *sql.Stmt {
	p.mu.Lock()
	defer p.mu.Unlock()
	stmt, noted := p.known[query]
	if noted {
		return stmt
	}
	if p.known == nil {
		p.known = map[string]*sql.Stmt{}
	}
	p.known[query], p.wanted = nil, append(p.wanted, query)
	return nil
}

func (p *prepared) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, stmt := range p.known {
		if stmt != nil {
			stmt.Close() //nolint:errcheck // the connection is closed next
		}
	}
	p.known, p.wanted = nil, nil
}

// execPrepared is exec for a statement whose text is one of few.
func (t *Tx) execPrepared(ctx context.Context, query string, args ...any) (sql.Result, error) {
	if t.engine == SQLite {
		if stmt := t.prepared.get(query); stmt != nil {
			return t.sql.StmtContext(ctx, stmt).ExecContext(ctx, args...)
		}
	}
	return t.exec(ctx, query, args...)
}
