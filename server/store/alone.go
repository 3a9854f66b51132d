package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
)

// Alone keeps other processes from being alone under the same name until end is
// called. On Postgres it waits for an advisory lock and holds it in a session of
// its own, which goes with the process. On SQLite, which one process has to
// itself, it waits for nobody; callers within the process exclude each other.
func (s *Store) Alone(ctx context.Context, name string) (end func(), err error) {
	if s.engine != Postgres {
		return func() {}, nil
	}
	conn, err := s.writer.Conn(ctx)
	if err != nil {
		return nil, translate("waiting for other processes", err)
	}
	end = func() { endSession(conn) }
	if _, err := conn.ExecContext(ctx, `SELECT pg_advisory_lock(hashtextextended($1, 0))`, "alone|"+name); err != nil {
		end()
		return nil, translate("waiting for other processes", err)
	}
	return end, nil
}

// endSession closes a connection, and with it ends all that its session holds:
// back in the pool it would still hold it.
func endSession(conn *sql.Conn) {
	_ = conn.Raw(func(any) error { return driver.ErrBadConn })
	_ = conn.Close()
}
