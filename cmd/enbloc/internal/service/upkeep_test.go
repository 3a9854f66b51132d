package service

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
)

// Only cases that are older than the retention time are thinned, all of them,
// however many batches that takes, and each once.
func TestUpkeepThinsWhatIsOldEnough(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	st, err := store.Open(ctx, filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	now := time.Date(2026, 9, 1, 12, 0, 0, 0, time.UTC)
	const old, young = 2*upkeepBatch + 3, 2
	for n := range old + young {
		at := now.AddDate(0, 0, -31)
		if n >= old {
			at = now.AddDate(0, 0, -29)
		}
		require.NoError(t, st.InTx(ctx, func(tx *store.Tx) error {
			key := fmt.Sprintf("c%d", n)
			return tx.PutCase(ctx, store.Case{Key: key, Tenant: "T", Source: "S", ReportID: key, Sequence: 1, Updated: at})
		}))
	}
	u := upkeep{st, slog.New(slog.DiscardHandler), 30, func() time.Time { return now }}
	n, err := u.thin(ctx)
	require.NoError(t, err)
	require.Equal(t, old, n)
	n, err = u.thin(ctx)
	require.NoError(t, err)
	require.Zero(t, n)
}
