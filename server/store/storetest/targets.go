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

// Readings of a watch stand apart from what was kept, and go with it.
func readingsApart(t *testing.T, b bench) {
	kept := store.Preflight{Target: "hospital", Rung: 4, FirstWrite: "search", Usable: true, Document: []byte(`{"n":1}`), Checked: now}
	b.tx(func(tx *store.Tx) error { return tx.PutPreflight(ctx, kept) })
	b.tx(func(tx *store.Tx) error {
		return tx.PutLearned(ctx, store.Learned{Target: "hospital", MaxEntries: 7, At: now.Add(time.Hour)})
	})
	for i, which := range []store.Reading{store.FirstReading, store.LastReading, store.LastReading} {
		_, err := b.Reading(ctx, "other", which)
		require.True(t, fault.Is(err, fault.NotFound))
		read := store.Preflight{Target: "hospital", Rung: 2 + i, Document: []byte(`{}`), Checked: now.Add(2 * time.Hour)}
		b.tx(func(tx *store.Tx) error { return tx.PutReading(ctx, which, read) })
		got, err := b.Reading(ctx, "hospital", which)
		require.NoError(t, err)
		require.Equal(t, read, got)
	}
	got, err := b.Preflight(ctx, "hospital")
	require.NoError(t, err)
	require.Equal(t, kept, got)
	learned, err := b.Learned(ctx, "hospital")
	require.NoError(t, err)
	require.Equal(t, 7, learned.MaxEntries, "a reading makes nothing void")

	b.tx(func(tx *store.Tx) error { return tx.PutPreflight(ctx, kept) })
	for _, which := range []store.Reading{store.FirstReading, store.LastReading} {
		_, err = b.Reading(ctx, "hospital", which)
		require.True(t, fault.Is(err, fault.NotFound))
	}
}
