package storetest

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
)

// casesWalked: oldest first, page by page, each once, with the documents of the
// present state and the outbox rows of just these cases.
func casesWalked(t *testing.T, b bench) {
	for i := range 7 {
		key := fmt.Sprintf("c%d", i)
		b.tx(func(tx *store.Tx) error {
			at := now.Add(time.Duration(i/2) * time.Hour) // two share a time: the key decides
			if err := tx.PutCase(ctx, store.Case{Key: key, Tenant: "T", Source: "S", ReportID: key, Sequence: 1, Revision: 1, Status: "signed", Updated: at}); err != nil {
				return err
			}
			d := store.Document{CaseKey: key, Tenant: "T", Source: "S", Kind: store.Report, PartID: key, Revision: 1, Body: []byte(key), State: store.Joined, Received: at}
			if err := tx.AddDocument(ctx, &d); err != nil {
				return err
			}
			return tx.AddState(ctx, key, 1, []string{d.ID})
		})
		b.delivery(key, 1, "hospital")
	}
	var seen []string
	for after := ""; ; {
		page, next, err := b.CasesInOrder(ctx, store.Walk{Tenant: "T", After: after, Limit: 3})
		require.NoError(t, err)
		if len(page) == 0 {
			break
		}
		for _, c := range page {
			seen = append(seen, c.Key)
		}
		after = next
	}
	require.Equal(t, []string{"c0", "c1", "c2", "c3", "c4", "c5", "c6"}, seen)
	late, _, err := b.CasesInOrder(ctx, store.Walk{Tenant: "T", Since: now.Add(2 * time.Hour), Limit: 10})
	require.NoError(t, err)
	require.Len(t, late, 3)
	documents, err := b.Standing(ctx, []string{"c1", "c2"})
	require.NoError(t, err)
	require.Len(t, documents, 2)
	require.Equal(t, "c1", string(documents["c1"][0].Body))
	rows, err := b.DeliveriesOf(ctx, []string{"c1", "c2"})
	require.NoError(t, err)
	require.Len(t, rows, 2)
	require.Len(t, rows["c2"], 1)
}

// markChanges: the mark differs after a new case and after a new state of one,
// is that of one tenant, and stays when only deliveries move.
func markChanges(t *testing.T, b bench) {
	mark := func(tenant string) store.Mark {
		m, err := b.Mark(ctx, tenant)
		require.NoError(t, err)
		return m
	}
	seen := map[store.Mark]bool{mark("T"): true}
	other := mark("another")
	for i, sequence := range []int{1, 1, 2, 2, 3} {
		key := []string{"a", "b", "a", "b", "a"}[i]
		b.tx(func(tx *store.Tx) error {
			return tx.PutCase(ctx, store.Case{Key: key, Tenant: "T", Source: "S", ReportID: key, Sequence: sequence, Revision: 1, Status: "signed", Updated: now})
		})
		require.False(t, seen[mark("T")], "state %d of %s", sequence, key)
		seen[mark("T")] = true
	}
	before := mark("T")
	b.delivery("a", 3, "hospital")
	require.Equal(t, before, mark("T"))
	require.Equal(t, other, mark("another"))
}
