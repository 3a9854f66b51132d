package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// A backup is the database as it was at one moment, however busy it is: every
// case in it has its document, and it opens like any other.
func TestABackupIsWholeWhileOthersWrite(t *testing.T) {
	t.Parallel()
	folder, ctx := t.TempDir(), context.Background()
	path := filepath.Join(folder, "enbloc.db")
	s := open(t, path)
	stop, ready := make(chan struct{}), make(chan struct{})
	var wait sync.WaitGroup
	wait.Go(func() {
		for n := 0; ; n++ {
			select {
			case <-stop:
				return
			default:
			}
			revision(t, s, fmt.Sprintf("c%d", n), 1, time.Now(), store.Delivered)
			if n == 20 {
				close(ready)
			}
		}
	})
	<-ready
	to := filepath.Join(folder, "copy.db")
	require.NoError(t, store.Backup(ctx, path, to))
	close(stop)
	wait.Wait()
	info, err := os.Stat(to)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "nobody else reads patient data")

	copied := open(t, to)
	var cases, documents, rows int
	require.NoError(t, copied.DB().QueryRowContext(ctx, `SELECT (SELECT count(*) FROM cases), (SELECT count(*) FROM documents), (SELECT count(*) FROM deliveries)`).
		Scan(&cases, &documents, &rows))
	require.GreaterOrEqual(t, cases, 20)
	require.Equal(t, cases, documents)
	require.Equal(t, cases, rows)

	err = store.Backup(ctx, path, to)
	require.Equal(t, fault.Conflict, fault.KindOf(err))
	err = store.Backup(ctx, filepath.Join(folder, "none.db"), filepath.Join(folder, "other.db"))
	require.Equal(t, fault.NotFound, fault.KindOf(err))
	require.NoFileExists(t, filepath.Join(folder, "other.db"))
	// What is no database leaves no file that could be taken for a backup.
	require.NoError(t, os.WriteFile(filepath.Join(folder, "text"), []byte("no database, but long enough to be looked at as one"), 0o600))
	require.Error(t, store.Backup(ctx, filepath.Join(folder, "text"), filepath.Join(folder, "other.db")))
	require.NoFileExists(t, filepath.Join(folder, "other.db"))
}

// firstSchema makes a database as the first version of the program left it.
func firstSchema(t *testing.T, driver, dsn string) {
	t.Helper()
	db, err := sql.Open(driver, dsn)
	require.NoError(t, err)
	defer db.Close()
	text, err := os.ReadFile(filepath.Join("testdata", "schema-1-"+driver+".sql"))
	require.NoError(t, err)
	_, err = db.ExecContext(context.Background(), string(text))
	require.NoError(t, err)
	body := map[string]string{"sqlite": `x'7b7d'`, "pgx": `'\x7b7d'`}[driver]
	_, err = db.ExecContext(context.Background(), `INSERT INTO ledger (target, role_key, case_key, role, type, server_id, version, hash, body, sequence, voided, written_at) VALUES
		('x', 'k2', 'c1', 'lesion/1', 'Condition', '8', '1', 'h2', `+body+`, 2, 1, 7), ('x', 'k1', 'c1', 'report', 'DiagnosticReport', '7', '3', 'h1', `+body+`, 1, 0, 5),
		('y', 'k1', 'c1', 'report', 'DiagnosticReport', '9', '1', 'h1', `+body+`, 1, 0, 5), ('x', 'k3', '', 'shared/device', 'Device', '6', '1', 'h3', `+body+`, 1, 0, 5)`)
	require.NoError(t, err)
}

// A database of the first version opens, keeps what it holds, and has all that
// later versions brought; a second opening changes nothing.
func TestADatabaseOfTheFirstVersionIsMigrated(t *testing.T) {
	t.Parallel()
	for driver, dsn := range map[string]func(t *testing.T) string{
		"sqlite": func(t *testing.T) string { return filepath.Join(t.TempDir(), "old.db") },
		"pgx":    func(t *testing.T) string { return storetest.Postgres(t) },
	} {
		t.Run(driver, func(t *testing.T) {
			t.Parallel()
			at, ctx := dsn(t), context.Background()
			firstSchema(t, driver, at)
			for round := range 2 {
				s, err := store.Open(ctx, at)
				require.NoError(t, err)
				c, err := s.Case(ctx, "c1")
				require.NoError(t, err)
				require.Equal(t, 2, c.Sequence)
				documents, err := s.DocumentsAt(ctx, "c1", 2)
				require.NoError(t, err)
				require.Len(t, documents, 1)
				require.Equal(t, `{"n":1.50}`, string(documents[0].Body))
				if round == 0 { // thinned below
					rowsBecamePages(t, s)
				}
				var version int
				require.NoError(t, s.DB().QueryRowContext(ctx, `SELECT max(version) FROM schema_version`).Scan(&version))
				require.Equal(t, storetest.Newest(t, "migrations"), version)
				require.NoError(t, s.InTx(ctx, func(tx *store.Tx) error {
					_, err := tx.Thin(ctx, time.Now(), 10)
					return err
				}))
				require.NoError(t, s.Close())
			}
		})
	}
}

// rowsBecamePages looks for the rows that firstSchema has put into the ledger.
func rowsBecamePages(t *testing.T, s *store.Store) {
	t.Helper()
	ctx := context.Background()
	at := func(us int64) time.Time { return time.UnixMicro(us).UTC() }
	report := store.LedgerEntry{RoleKey: "k1", Role: "report", CaseKey: "c1", Type: "DiagnosticReport", ServerID: "7", Version: "3", Hash: "h1", Body: []byte("{}"), Sequence: 1, Written: at(5)}
	lesion := store.LedgerEntry{RoleKey: "k2", Role: "lesion/1", CaseKey: "c1", Type: "Condition", ServerID: "8", Version: "1", Hash: "h2", Body: []byte("{}"), Sequence: 2, Voided: true, Written: at(7)}
	ledger, _, err := s.Ledger(ctx, "x", "c1")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{report, lesion}, ledger)
	ledger, _, err = s.Ledger(ctx, "y", "c1")
	require.NoError(t, err)
	require.Len(t, ledger, 1)
	ledger, _, err = s.Ledger(ctx, "x", "none", "k3")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{{RoleKey: "k3", Role: "shared/device", Type: "Device", ServerID: "6", Version: "1", Hash: "h3", Body: []byte("{}"), Sequence: 1, Written: at(5)}}, ledger)
}
