package storetest

import (
	"context"
	"database/sql"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/stdlib" // registers "pgx"
	"github.com/stretchr/testify/require"
)

// PostgresEnv names the variable with the URL of a Postgres that tests may use.
const PostgresEnv = "ENBLOC_TEST_POSTGRES"

// Postgres returns the URL of an empty schema of its own on the Postgres that
// ENBLOC_TEST_POSTGRES names, and drops it after the test. Without the variable
// the test is skipped, or fails where peers are demanded (build tag peers): a
// run that is meant to prove Postgres must not pass by skipping.
func Postgres(t testing.TB) string {
	t.Helper()
	u, name := scratch(t, `SCHEMA`, `CASCADE`)
	q := u.Query()
	q.Set("search_path", name)
	u.RawQuery = q.Encode()
	return u.String()
}

// scratch creates something with a name of its own on the Postgres for tests, and
// drops it, by force, after the test.
func scratch(t testing.TB, kind, force string) (base *url.URL, name string) {
	t.Helper()
	at := postgresBase(t)
	db, err := sql.Open("pgx", at)
	require.NoError(t, err)
	name = "t" + strings.ReplaceAll(uuid.NewString(), "-", "")
	_, err = db.ExecContext(context.Background(), `CREATE `+kind+` `+name)
	require.NoError(t, err)
	t.Cleanup(func() {
		_, _ = db.ExecContext(context.Background(), `DROP `+kind+` `+name+` `+force)
		db.Close()
	})
	base, err = url.Parse(at)
	require.NoError(t, err)
	return base, name
}

func postgresBase(t testing.TB) string {
	t.Helper()
	base := os.Getenv(PostgresEnv)
	if base == "" {
		if peersDemanded {
			t.Fatalf("%s is not set; start a Postgres and give its URL", PostgresEnv)
		}
		t.Skipf("%s is not set", PostgresEnv)
	}
	return base
}

// PostgresDatabase is as Postgres, with a database of its own: for what Postgres'
// tools do to a whole one.
func PostgresDatabase(t testing.TB) string {
	t.Helper()
	u, name := scratch(t, `DATABASE`, `WITH (FORCE)`)
	u.Path = "/" + name
	return u.String()
}

// PostgresTool runs a program that comes with Postgres. Debian keeps some off the
// PATH, one folder for each version; the newest reads what every older one wrote.
func PostgresTool(t testing.TB, name string, args ...string) {
	t.Helper()
	path, err := exec.LookPath(name)
	if all, _ := filepath.Glob("/usr/lib/postgresql/*/bin/" + name); len(all) > 0 {
		path, err = all[len(all)-1], nil
	}
	require.NoError(t, err, "there is a Postgres and not its %s: install Postgres' own programs", name)
	out, err := exec.CommandContext(context.Background(), path, args...).CombinedOutput() //nolint:gosec // a test names the program
	require.NoError(t, err, "%s: %s", name, out)
}
