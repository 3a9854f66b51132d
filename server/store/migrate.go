package store

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"sort"
	"strconv"
	"strings"
)

// migrations are numbered from 0001 and only ever added to: a released file
// never changes, and there is no way back but a backup.
//
//go:embed migrations/*.sql
var migrations embed.FS

// migrationLock is the number of the Postgres advisory lock that keeps two
// replicas from migrating at once; any number that nobody else uses.
const migrationLock = 0x656e626c

// inGo are the parts of migrations that SQL cannot do, run after their texts.
var inGo = map[int64]func(context.Context, *Tx) error{8: pagesFromRows}

type migration struct {
	version int64
	text    string
}

// migrate brings the tables to the newest version, each step in a transaction
// of its own. It refuses a database that a newer program has migrated.
func (s *Store) migrate(ctx context.Context) error {
	steps, err := loadMigrations()
	if err != nil {
		return err
	}
	for _, step := range steps {
		if err := s.apply(ctx, step, steps[len(steps)-1].version); err != nil {
			return fmt.Errorf("applying migration %d: %w", step.version, err)
		}
	}
	return nil
}

func (s *Store) apply(ctx context.Context, step migration, newest int64) error {
	return s.InTx(ctx, func(tx *Tx) error {
		if s.engine == Postgres {
			if _, err := tx.exec(ctx, `SELECT pg_advisory_xact_lock(?)`, migrationLock); err != nil {
				return err
			}
		}
		if _, err := tx.exec(ctx, `CREATE TABLE IF NOT EXISTS schema_version (version BIGINT NOT NULL PRIMARY KEY)`); err != nil {
			return err
		}
		var have sql.NullInt64
		if err := tx.row(ctx, `SELECT max(version) FROM schema_version`).Scan(&have); err != nil {
			return err
		}
		switch {
		case have.Int64 > newest:
			return fmt.Errorf("reading schema version: the database is at %d, this program knows %d; use the newer program", have.Int64, newest)
		case have.Int64 >= step.version:
			return nil
		}
		if _, err := tx.sql.ExecContext(ctx, dialect(s.engine, step.text)); err != nil {
			return err
		}
		if more := inGo[step.version]; more != nil {
			if err := more(ctx, tx); err != nil {
				return err
			}
		}
		_, err := tx.exec(ctx, `INSERT INTO schema_version (version) VALUES (?)`, step.version)
		return err
	})
}

// dialect exchanges the one type name that the engines do not share.
func dialect(e Engine, text string) string {
	if e == Postgres {
		return strings.ReplaceAll(text, " BLOB", " BYTEA")
	}
	return text
}

func loadMigrations() ([]migration, error) {
	files, err := migrations.ReadDir("migrations")
	if err != nil {
		return nil, err
	}
	var steps []migration
	for _, f := range files {
		number, _, _ := strings.Cut(f.Name(), "_")
		version, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			return nil, fmt.Errorf("reading migration name %s: %w", f.Name(), err)
		}
		text, err := migrations.ReadFile("migrations/" + f.Name())
		if err != nil {
			return nil, err
		}
		steps = append(steps, migration{version, string(text)})
	}
	sort.Slice(steps, func(i, j int) bool { return steps[i].version < steps[j].version })
	for i, step := range steps {
		if step.version != int64(i)+1 {
			return nil, fmt.Errorf("reading migrations: number %d is there twice or number %d is missing", step.version, i+1)
		}
	}
	return steps, nil
}
