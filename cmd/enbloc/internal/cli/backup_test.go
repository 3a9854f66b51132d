package cli_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/server/store"
)

func TestBackupCopiesTheStoreAndNeverOverwrites(t *testing.T) {
	t.Parallel()
	data, ctx := t.TempDir(), context.Background()
	to := filepath.Join(t.TempDir(), "copy.db")
	st, err := store.Open(ctx, filepath.Join(data, "enbloc.db"))
	require.NoError(t, err)
	require.NoError(t, st.InTx(ctx, func(tx *store.Tx) error {
		return tx.PutCase(ctx, store.Case{Key: "c1", Tenant: "T", Source: "S", ReportID: "R", Sequence: 1, Updated: time.Now()})
	}))
	backup := func(args ...string) (int, string) {
		var out, errs bytes.Buffer
		code := cli.Run(t.Context(), append([]string{"backup"}, args...), cli.Streams{Out: &out, Err: &errs})
		return code, out.String() + errs.String()
	}
	code, said := backup("--data", data, "--to", to) // while the store is open
	require.Equal(t, cli.Good, code, said)
	require.Contains(t, said, "identity key is not in it")
	require.NoError(t, st.Close())
	before, err := os.ReadFile(to)
	require.NoError(t, err)

	code, said = backup("--data", data, "--to", to)
	require.Equal(t, cli.Usage, code)
	require.Contains(t, said, "Nothing was overwritten")
	after, err := os.ReadFile(to)
	require.NoError(t, err)
	require.Equal(t, before, after)

	copied, err := store.Open(ctx, to)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, copied.Close()) })
	_, err = copied.Case(ctx, "c1")
	require.NoError(t, err)

	for _, args := range [][]string{{}, {"--data", t.TempDir(), "--to", filepath.Join(data, "x")}, {"--store", "postgres://x", "--to", "y"}} {
		code, said = backup(args...)
		require.Equal(t, cli.Usage, code, said)
	}
	require.NoFileExists(t, filepath.Join(data, "x"))
}
