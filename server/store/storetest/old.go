package storetest

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
)

// Newest is the number of the last migration in a folder.
func Newest(t testing.TB, folder string) int { return len(migrationsIn(t, folder)) }

func migrationsIn(t testing.TB, folder string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "0*.sql"))
	require.NoError(t, err)
	require.NotEmpty(t, files, folder)
	sort.Strings(files)
	return files
}

// Old is a database as an earlier version of the program left it. What it has no
// column for yet is left out of what is put into it.
type Old struct {
	t       testing.TB
	db      *sql.DB
	pg      bool
	Version int
}

// OpenOld makes an empty database at dsn as a version of the tables was, with the
// migrations in a folder: they are never changed. Close it before a store opens it.
func OpenOld(t testing.TB, dsn, folder string, version int) *Old {
	t.Helper()
	o := &Old{t: t, pg: strings.HasPrefix(dsn, "postgres"), Version: version}
	driver, hasty := "sqlite", `PRAGMA synchronous = OFF`
	if o.pg {
		driver, hasty = "pgx", `SET synchronous_commit = off`
	}
	var err error
	o.db, err = sql.Open(driver, dsn)
	require.NoError(t, err)
	o.db.SetMaxOpenConns(1)
	t.Cleanup(o.Close)
	o.Exec(hasty) // nothing ends before it is closed
	o.Exec(`CREATE TABLE schema_version (version BIGINT NOT NULL PRIMARY KEY)`)
	for i, file := range migrationsIn(t, folder)[:version] {
		text, err := os.ReadFile(file) //nolint:gosec // a test names the folder
		require.NoError(t, err)
		if o.pg {
			text = []byte(strings.ReplaceAll(string(text), " BLOB", " BYTEA"))
		}
		o.Exec(string(text))
		o.Exec(`INSERT INTO schema_version (version) VALUES (` + strconv.Itoa(i+1) + `)`)
	}
	return o
}

// Close closes it.
func (o *Old) Close() { _ = o.db.Close() }

// DB is the database, for what others keep in it.
func (o *Old) DB() *sql.DB { return o.db }

// Exec runs a statement.
func (o *Old) Exec(query string, args ...any) {
	o.t.Helper()
	_, err := o.db.ExecContext(context.Background(), query, args...)
	require.NoError(o.t, err, query)
}

// Row is what goes into a table, by column.
type Row map[string]any

// Put puts a row into a table.
func (o *Old) Put(table string, row Row) {
	o.t.Helper()
	var columns, places []string
	var args []any
	for column, value := range row {
		columns = append(columns, column)
		args = append(args, value)
		if o.pg {
			places = append(places, "$"+strconv.Itoa(len(args)))
		} else {
			places = append(places, "?")
		}
	}
	o.Exec(`INSERT INTO `+table+` (`+strings.Join(columns, ", ")+`) VALUES (`+strings.Join(places, ", ")+`)`, args...)
}

// Case puts a case and its states, each of one report.
func (o *Old) Case(key, tenant string, sequence int) {
	o.t.Helper()
	row := Row{"case_key": key, "tenant": tenant, "source": "S", "report_id": "R-" + key, "sequence": sequence, "revision": sequence,
		"status": "final", "summary": []byte(`{"lesions":1}`), "created_at": 5, "updated_at": 6}
	if o.Version >= 3 {
		row["thinned"] = 0
	}
	o.Put("cases", row)
	for n := 1; n <= sequence; n++ {
		id := key + "-" + strconv.Itoa(n)
		o.Put("documents", Row{"id": id, "case_key": key, "tenant": tenant, "source": "S", "kind": "report", "part_id": "R-" + key, "revision": n,
			"hash": "h" + strconv.Itoa(n), "body": []byte(`{"n":` + strconv.Itoa(n) + `.50}`), "state": "joined", "received_at": 5})
		o.Put("states", Row{"case_key": key, "sequence": n, "document_id": id})
	}
}

// Delivery puts an outbox row; the zero columns of d are those of a row that
// nobody has worked.
func (o *Old) Delivery(d store.Delivery) {
	o.t.Helper()
	row := Row{"id": d.ID, "case_key": d.CaseKey, "sequence": d.Sequence, "target": d.Target, "state": string(d.State), "reason": d.Reason,
		"explanation": d.Explanation, "details": []byte(`{}`), "attempts": d.Attempts, "uncertain": 0, "next_attempt": 5, "job_id": d.JobID,
		"claimed_by": d.ClaimedBy, "claimed_until": 0, "created_at": 5, "updated_at": 5}
	if d.Uncertain {
		row["uncertain"] = 1
	}
	if d.ClaimedBy != "" {
		row["claimed_until"] = 7
	}
	if o.Version >= 5 {
		row["tenant"] = d.Tenant
	}
	o.Put("deliveries", row)
}

// Ledger puts what stands on a target, a row for each: so it was until version 7.
func (o *Old) Ledger(target string, entries ...store.LedgerEntry) {
	o.t.Helper()
	for _, e := range entries {
		row := Row{"target": target, "role_key": e.RoleKey, "case_key": e.CaseKey, "role": e.Role, "type": e.Type, "server_id": e.ServerID,
			"version": e.Version, "hash": e.Hash, "body": e.Body, "sequence": e.Sequence, "voided": 0, "written_at": e.Written.UnixMicro()}
		if e.Voided {
			row["voided"] = 1
		}
		o.Put("ledger", row)
	}
}
