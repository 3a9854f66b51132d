package storetest

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
)

func takenBack(t *testing.T, b bench) {
	entries := []store.LedgerEntry{{RoleKey: "k1", CaseKey: "c1", Body: []byte(`{}`), Written: now}, {RoleKey: "k2", CaseKey: "c1", Body: []byte(`{}`), Written: now},
		{RoleKey: "k3", CaseKey: "c2", Body: []byte(`{}`), Written: now}}
	b.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.PutLedger(ctx, "x", entries))
		require.NoError(t, tx.PutLedger(ctx, "y", entries))
		return tx.SetDelivered(ctx, "x", "c1", 3, now)
	})
	// The key of another case is not forgotten with this one's.
	b.tx(func(tx *store.Tx) error { return tx.Forget(ctx, "x", "c1", []string{"k1", "k3"}) })
	left, _, err := b.Ledger(ctx, "x", "c1")
	require.NoError(t, err)
	require.Equal(t, entries[1:2], left)
	for target, caseKey := range map[string]string{"x": "c2", "y": "c1"} {
		left, _, err = b.Ledger(ctx, target, caseKey)
		require.NoError(t, err)
		require.NotEmpty(t, left)
	}
	_, n, err := b.Ledger(ctx, "x", "c1")
	require.NoError(t, err)
	require.Zero(t, n)
}

func reviewed(t *testing.T, b bench) {
	settle := func(caseKey string, sequence int, state store.DeliveryState) string {
		id := b.delivery(caseKey, sequence, "x")
		d, _ := b.claim(id, "w", now)
		b.finish(d, state)
		return id
	}
	settle("c1", 1, store.Delivered)
	newest := settle("c1", 2, store.DeliveredWithDifferences)
	withheld := settle("c2", 1, store.Withheld)
	settle("c3", 1, store.Delivered)
	waiting := b.delivery("c3", 2, "x")
	dead := settle("c4", 1, store.Dead)
	b.delivery("c5", 1, "y")

	first, err := b.LastSettled(ctx, "", "x", "", 1)
	require.NoError(t, err)
	require.Equal(t, []string{newest}, keys(first))
	rest, err := b.LastSettled(ctx, "", "x", newest, 0)
	require.NoError(t, err)
	require.Equal(t, []string{withheld}, keys(rest))

	review := func(id string) error {
		return b.InTx(ctx, func(tx *store.Tx) error { return tx.Review(ctx, id, now) })
	}
	for _, id := range []string{waiting, dead} {
		b.kind(review(id), fault.Conflict)
	}
	require.NoError(t, review(withheld))
	b.kind(review(withheld), fault.Conflict)
	d, v := b.claim(withheld, "w", now)
	require.Equal(t, store.Claimed, v)
	require.True(t, d.Uncertain)
}

func walkedByKey(t *testing.T, b bench) {
	last, err := b.LastChange(ctx, "T")
	require.NoError(t, err)
	require.True(t, last.IsZero())
	for _, key := range []string{"c2", "c3", "c1"} {
		b.kase(key, "R-"+key)
	}
	first, err := b.CasesByKey(ctx, "T", "", 2)
	require.NoError(t, err)
	require.Equal(t, []string{"c1", "c2"}, []string{first[0].Key, first[1].Key})
	rest, err := b.CasesByKey(ctx, "T", "c2", 2)
	require.NoError(t, err)
	require.Len(t, rest, 1)
	none, err := b.CasesByKey(ctx, "other", "", 2)
	require.NoError(t, err)
	require.Empty(t, none)
	last, err = b.LastChange(ctx, "T")
	require.NoError(t, err)
	require.Equal(t, now, last)
}
