package child

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"enbloc/server/store"
)

// PostgresEnv names the variable with the URL of a Postgres for tests.
const PostgresEnv = "ENBLOC_TEST_POSTGRES"

// Database is a new SQLite file, or a schema of its own on a Postgres.
func Database(ctx context.Context, name, folder string) (dsn string, drop func(), err error) {
	if name == "sqlite" {
		return filepath.Join(folder, "enbloc.db"), func() {}, nil
	}
	if name == "postgres" {
		if name = os.Getenv(PostgresEnv); name == "" {
			return "", nil, errors.New("--store postgres needs " + PostgresEnv + ", the URL of a Postgres for tests")
		}
	}
	admin, err := store.Open(ctx, name)
	if err != nil {
		return "", nil, err
	}
	schema := "proof" + strings.ReplaceAll(uuid.NewString(), "-", "")
	if _, err := admin.DB().ExecContext(ctx, "CREATE SCHEMA "+schema); err != nil {
		return "", nil, errors.Join(fmt.Errorf("making schema: %w", err), admin.Close())
	}
	join := "?"
	if strings.Contains(name, "?") {
		join = "&"
	}
	return name + join + "search_path=" + schema, func() {
		_, _ = admin.DB().ExecContext(context.WithoutCancel(ctx), "DROP SCHEMA "+schema+" CASCADE")
		_ = admin.Close()
	}, nil
}
