package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"enbloc/server/store"
)

const (
	// batch is how many cases go into one transaction.
	batch = 1000
	// recently is how many cases the program has not tidied up after: it removes
	// finished jobs after an hour and answers after a day.
	recently = 100_000
	// apart is the time between two of the cases that are made.
	apart = time.Minute
)

// pile makes a store that stands at some hundred real cases into one of many.
type pile struct {
	store *store.Store
	dsn   string
	conn  *sql.Conn // all on one: its tables are temporary
	seeds []seed
	total int // cases in the end
	say   func(format string, args ...any)
}

// seed is a real case: its key, and the number that stands in each of its
// sender's identifiers.
type seed struct{ key, name string }

// multiply gives the store at dsn so many cases in all, as they stand when they
// are delivered and their retention time has ended.
func multiply(ctx context.Context, dsn string, total int, say func(string, ...any)) (err error) {
	st, err := store.Open(ctx, dsn)
	if err != nil {
		return err
	}
	defer st.Close() //nolint:errcheck // what was written is committed
	if err := thin(ctx, st); err != nil {
		return err
	}
	conn, err := st.DB().Conn(ctx)
	if err != nil {
		return fmt.Errorf("opening connection: %w", err)
	}
	defer conn.Close() //nolint:errcheck // as above
	p := &pile{store: st, dsn: dsn, conn: conn, total: total, say: say}
	for _, step := range []func(context.Context) error{p.hurry, p.readSeeds, p.snapshot, p.insert, p.settle} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// thin empties what a store empties when the retention time has ended: a million
// cases with all copies would be 50 GB.
func thin(ctx context.Context, st *store.Store) error {
	const most = 500
	for n := most; n == most; {
		err := st.InTx(ctx, func(tx *store.Tx) (err error) {
			n, err = tx.Thin(ctx, time.Now().Add(time.Hour), most)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// hurry gives up durability: what breaks here is made anew.
func (p *pile) hurry(ctx context.Context) error {
	if p.store.Engine() == store.Postgres {
		return p.exec(ctx, `SET synchronous_commit = off`)
	}
	for _, pragma := range []string{`synchronous = OFF`, `journal_mode = OFF`, `temp_store = MEMORY`, `cache_size = -262144`} {
		if err := p.exec(ctx, `PRAGMA `+pragma); err != nil {
			return err
		}
	}
	return nil
}

func (p *pile) readSeeds(ctx context.Context) error {
	rows, err := p.conn.QueryContext(ctx, `SELECT case_key, report_id FROM cases ORDER BY case_key`)
	if err != nil {
		return fmt.Errorf("reading cases: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var s seed
		var report string
		if err := rows.Scan(&s.key, &report); err != nil {
			return fmt.Errorf("reading cases: %w", err)
		}
		var ok bool
		if _, s.name, ok = strings.Cut(report, "HTEST-"); !ok || len(s.name) != 16 {
			return fmt.Errorf("reading cases: %q is not called as sample calls its reports", report)
		}
		p.seeds = append(p.seeds, s)
	}
	return rows.Err()
}

// snapshot keeps the rows of the real cases aside, each with its case.
func (p *pile) snapshot(ctx context.Context) error {
	if err := p.exec(ctx, `CREATE TEMPORARY TABLE pile_seed (k BIGINT PRIMARY KEY, case_key TEXT, name TEXT)`); err != nil {
		return err
	}
	for k, s := range p.seeds {
		if err := p.exec(ctx, fmt.Sprintf(`INSERT INTO pile_seed VALUES (%d, '%s', '%s')`, k, s.key, s.name)); err != nil {
			return err
		}
	}
	for _, t := range tables {
		for _, query := range []string{
			`CREATE TEMPORARY TABLE pile_` + t.name + ` AS SELECT ` + t.owner + ` AS pile_case, r.* FROM ` + t.from,
			`CREATE INDEX pile_` + t.name + `_case ON pile_` + t.name + ` (pile_case)`,
			`ANALYZE pile_` + t.name,
		} {
			if err := p.exec(ctx, query); err != nil {
				return err
			}
		}
	}
	return p.exec(ctx, newCases)
}

// newCases are the keys of the cases of a batch:
//
//	k         its real case in pile_seed
//	case_key  "c" and 40 hexadecimal digits
//	name      the 16 digits that stand in each of its sender's identifiers
//	token     the 8 digits, spread evenly, that case_key and name begin with
//	at        when it was accepted, microseconds since 1970
//	clock     the same as a UUID of version 7 begins
//	recent    1 when the program would not have tidied up after it yet
const newCases = `CREATE TEMPORARY TABLE pile_new (position BIGINT PRIMARY KEY, k BIGINT, case_key TEXT, name TEXT, token TEXT,
	at BIGINT, clock TEXT, recent BIGINT)`

// insert makes the cases, batch by batch.
func (p *pile) insert(ctx context.Context) error {
	var queries []string
	for _, t := range tables {
		query, err := p.query(ctx, t)
		if err != nil {
			return err
		}
		queries = append(queries, query)
	}
	began, said := time.Now(), time.Now()
	for from, made := 0, p.total-len(p.seeds); from < made; from += batch {
		rows := make([]string, 0, batch)
		for position := from; position < min(from+batch, made); position++ {
			rows = append(rows, p.newCase(position, made, began))
		}
		if err := p.addBatch(ctx, rows, queries); err != nil {
			return err
		}
		if time.Since(said) > time.Minute {
			said = time.Now()
			p.say("piled up %d of %d cases in %s", from+len(rows), made, time.Since(began).Round(time.Second))
		}
	}
	return nil
}

// newCase is a row of pile_new. It holds only what is made here.
func (p *pile) newCase(position, made int, now time.Time) string {
	k := position % len(p.seeds)
	s := p.seeds[k]
	token := fmt.Sprintf("%08x", uint64(position)<<32/uint64(made)) //nolint:gosec // neither is negative
	at := now.Add(-time.Duration(made-position) * apart)
	clock := fmt.Sprintf("%012x", at.UnixMilli())
	recent := 0
	if position >= made-recently {
		recent = 1
	}
	return fmt.Sprintf(`(%d, %d, 'c%s%s', '%s%s', '%s', %d, '%s-%s', %d)`, position, k, token, s.key[9:], strings.ToUpper(token), s.name[8:], token,
		at.UnixMicro(), clock[:8], clock[8:], recent)
}

// query inserts the rows of a table for the cases of a batch.
func (p *pile) query(ctx context.Context, t table) (string, error) {
	rows, err := p.conn.QueryContext(ctx, `SELECT * FROM `+t.name+` WHERE 1 = 0`)
	if err != nil {
		return "", fmt.Errorf("reading columns of %s: %w", t.name, err)
	}
	defer rows.Close()
	all, err := rows.Columns()
	if err != nil {
		return "", fmt.Errorf("reading columns of %s: %w", t.name, err)
	}
	var columns, values []string
	for _, column := range all {
		value, given := t.set[column]
		switch {
		case !given:
			value = `r.` + column
		case value == "":
			continue
		}
		columns, values = append(columns, column), append(values, value)
	}
	query := `INSERT INTO ` + t.name + ` (` + strings.Join(columns, ", ") + `) SELECT ` + strings.Join(values, ", ") +
		` FROM pile_new n CROSS JOIN pile_seed s CROSS JOIN pile_` + t.name + ` r WHERE s.k = n.k AND r.pile_case = s.case_key`
	if t.only != "" {
		query += ` AND ` + t.only
	}
	return query + ` ORDER BY n.position`, rows.Err()
}

func (p *pile) addBatch(ctx context.Context, rows, queries []string) error {
	if err := p.exec(ctx, `BEGIN`); err != nil {
		return err
	}
	all := append([]string{`DELETE FROM pile_new`, `INSERT INTO pile_new VALUES ` + strings.Join(rows, ", ")}, queries...)
	for _, query := range append(all, `COMMIT`) {
		if err := p.exec(ctx, query); err != nil {
			return err
		}
	}
	return nil
}

// settle does what the engine has done by itself in a store that grew slowly; what
// was written is on the disk, too.
func (p *pile) settle(ctx context.Context) error {
	if p.store.Engine() == store.SQLite {
		if err := p.exec(ctx, `PRAGMA journal_mode = WAL`); err != nil {
			return err
		}
		return syncFile(p.dsn)
	}
	var names []string
	for _, t := range tables {
		names = append(names, t.name)
	}
	if err := p.exec(ctx, `VACUUM (ANALYZE) `+strings.Join(names, ", ")); err != nil {
		return err
	}
	return p.exec(ctx, `CHECKPOINT`)
}

func syncFile(path string) error {
	f, err := os.Open(path) //nolint:gosec // a store of ours
	if err != nil {
		return fmt.Errorf("opening the store: %w", err)
	}
	return errors.Join(f.Sync(), f.Close())
}

func (p *pile) exec(ctx context.Context, query string) error {
	if _, err := p.conn.ExecContext(ctx, query); err != nil {
		return fmt.Errorf("piling up (%.60s): %w", query, err)
	}
	return nil
}
