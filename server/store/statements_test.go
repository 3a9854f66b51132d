package store

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A kept statement serves again, also while its first result is still open,
// after the tables have changed, and after it has failed.
func TestStatementsStayCompiled(t *testing.T) {
	t.Parallel()
	db, err := openPrepared(sqliteURL(filepath.Join(t.TempDir(), "s.db"), ""))
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	ctx := context.Background()
	_, err = db.ExecContext(ctx, `CREATE TABLE a (n INTEGER PRIMARY KEY); CREATE TABLE b (n INTEGER)`)
	require.NoError(t, err, "several statements in one text")
	for n := range 3 {
		_, err = db.ExecContext(ctx, `INSERT INTO a (n) VALUES (?)`, n)
		require.NoError(t, err)
	}
	_, err = db.ExecContext(ctx, `INSERT INTO a (n) VALUES (?)`, 2)
	require.ErrorContains(t, err, "UNIQUE")
	_, err = db.ExecContext(ctx, `INSERT INTO a (n) VALUES (?)`, 3)
	require.NoError(t, err)

	tx, err := db.BeginTx(ctx, nil)
	require.NoError(t, err)
	const query = `SELECT n FROM a WHERE n >= ? ORDER BY n`
	outer, err := tx.QueryContext(ctx, query, 2)
	require.NoError(t, err)
	var pairs [][2]int
	for outer.Next() {
		var pair [2]int
		require.NoError(t, outer.Scan(&pair[0]))
		inner, err := tx.QueryContext(ctx, query, 2) //nolint:sqlclosecheck // below
		require.NoError(t, err)
		for inner.Next() {
			require.NoError(t, inner.Scan(&pair[1]))
			pairs = append(pairs, pair)
		}
		require.NoError(t, inner.Close())
	}
	require.NoError(t, outer.Err())
	require.Equal(t, [][2]int{{2, 2}, {2, 3}, {3, 2}, {3, 3}}, pairs)
	require.NoError(t, tx.Commit())

	_, err = db.ExecContext(ctx, `ALTER TABLE a ADD COLUMN m INTEGER DEFAULT 7`)
	require.NoError(t, err)
	var n, m int
	const both = `SELECT * FROM (SELECT * FROM a WHERE n = ?)`
	require.NoError(t, db.QueryRowContext(ctx, both, 1).Scan(&n, &m))
	_, err = db.ExecContext(ctx, `ALTER TABLE a DROP COLUMN m`)
	require.NoError(t, err)
	require.NoError(t, db.QueryRowContext(ctx, both, 1).Scan(&n))

	for i := range 2 * mostStatements {
		require.NoError(t, db.QueryRowContext(ctx, fmt.Sprintf(`SELECT n FROM a WHERE n = ? AND %d = %d`, i, i), 1).Scan(&n))
	}
	conn, err := db.Conn(ctx)
	require.NoError(t, err)
	require.NoError(t, conn.Raw(func(c any) error {
		require.Len(t, c.(*connection).idle, mostStatements)
		return nil
	}))
	require.NoError(t, conn.Close())
}
