package storetest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
)

func preflightKept(t *testing.T, b bench) {
	_, err := b.Preflight(ctx, "hospital")
	require.True(t, fault.Is(err, fault.NotFound))
	first := store.Preflight{Target: "hospital", Rung: 2, FirstWrite: "conditional-create", Usable: true, CapabilityHash: "a", Document: []byte(`{"n":1.50}`), Checked: now}
	second := store.Preflight{Target: "hospital", Rung: 5, CapabilityHash: "b", Document: []byte(`{}`), Checked: now.Add(time.Hour)}
	for _, p := range []store.Preflight{first, {Target: "other", Rung: 1, Document: []byte(`{}`), Checked: now}, second} {
		b.tx(func(tx *store.Tx) error { return tx.PutPreflight(ctx, p) })
		got, err := b.Preflight(ctx, p.Target)
		require.NoError(t, err)
		require.Equal(t, p, got)
	}
}
