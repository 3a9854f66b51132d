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
			for range 2 {
				s, err := store.Open(ctx, at)
				require.NoError(t, err)
				c, err := s.Case(ctx, "c1")
				require.NoError(t, err)
				require.Equal(t, 2, c.Sequence)
				documents, err := s.DocumentsAt(ctx, "c1", 2)
				require.NoError(t, err)
				require.Len(t, documents, 1)
				require.Equal(t, `{"n":1.50}`, string(documents[0].Body))
				var version int
				require.NoError(t, s.DB().QueryRowContext(ctx, `SELECT max(version) FROM schema_version`).Scan(&version))
				require.GreaterOrEqual(t, version, 3)
				require.NoError(t, s.InTx(ctx, func(tx *store.Tx) error {
					_, err := tx.Thin(ctx, time.Now(), 10)
					return err
				}))
				require.NoError(t, s.Close())
			}
		})
	}
}
