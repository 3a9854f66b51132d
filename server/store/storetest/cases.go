package storetest

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
)

func caseMoves(t *testing.T, b bench) {
	b.kase("c1", "R1")
	c, err := b.Case(ctx, "c1")
	require.NoError(t, err)
	require.Equal(t, now, c.Created)
	require.JSONEq(t, `{}`, string(c.Summary))

	c.Sequence, c.Revision, c.Status, c.Summary, c.Updated = 2, 5, "amended", []byte(`{"organ":"stomach"}`), now.Add(time.Hour)
	b.tx(func(tx *store.Tx) error { return tx.PutCase(ctx, c) })
	got, err := b.Case(ctx, "c1")
	require.NoError(t, err)
	require.Equal(t, c, got)

	// The same step again, and a step too far: somebody else was faster.
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.PutCase(ctx, c) }), fault.Conflict)
	c.Sequence = 4
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.PutCase(ctx, c) }), fault.Conflict)
}

// A report has one case; others may differ from it in any part of the name.
func caseOnce(t *testing.T, b bench) {
	b.kase("c1", "R1")
	for i, other := range [][3]string{{"T2", "S", "R1"}, {"T", "S2", "R1"}, {"T", "S", "R2"}} {
		b.tx(func(tx *store.Tx) error {
			return tx.PutCase(ctx, store.Case{Key: fmt.Sprint("d", i), Tenant: other[0], Source: other[1], ReportID: other[2], Sequence: 1, Updated: now})
		})
	}
	b.kind(b.InTx(ctx, func(tx *store.Tx) error {
		return tx.PutCase(ctx, store.Case{Key: "c2", Tenant: "T", Source: "S", ReportID: "R1", Sequence: 1, Updated: now})
	}), fault.Conflict)
}

func casePages(t *testing.T, b bench) {
	for n := range 25 {
		b.tx(func(tx *store.Tx) error {
			// Several at the same moment: the key has to break the tie.
			return tx.PutCase(ctx, store.Case{Key: fmt.Sprintf("c%02d", n), Tenant: "T", Source: "S", ReportID: fmt.Sprint(n), Sequence: 1, Updated: now.Add(time.Duration(n/4) * time.Second)})
		})
	}
	var keys []string
	q, pages := store.CaseQuery{Tenant: "T", Limit: 7}, 0
	for {
		page, next, err := b.Cases(ctx, q)
		require.NoError(t, err)
		for _, c := range page {
			keys = append(keys, c.Key)
		}
		pages++
		if q.After = next; next == "" {
			break
		}
	}
	require.Equal(t, 4, pages)
	require.Len(t, keys, 25)
	require.IsDecreasing(t, keys)
	_, _, err := b.Cases(ctx, store.CaseQuery{Tenant: "T", After: "nonsense"})
	b.kind(err, fault.Malformed)
	empty, _, err := b.Cases(ctx, store.CaseQuery{Tenant: "T2"})
	require.NoError(t, err)
	require.Empty(t, empty)
}

// part is a document that names its case by some keys.
func part(id string, revision int64, keys ...store.MatchKey) *store.Document {
	return &store.Document{Tenant: "T", Source: "LAB", Kind: store.Histology, PartID: id, Revision: revision, Hash: "h", Body: []byte(`{"a":1}`),
		State: store.Parked, Received: now, Keys: keys}
}

func accession(value string) store.MatchKey {
	return store.MatchKey{Name: store.ByAccession, System: "urn:lab", Value: value}
}

func partOnce(t *testing.T, b bench) {
	b.tx(func(tx *store.Tx) error { return tx.AddDocument(ctx, part("P1", 1)) })
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.AddDocument(ctx, part("P1", 1)) }), fault.Conflict)
	second := part("P1", 2)
	b.tx(func(tx *store.Tx) error { return tx.AddDocument(ctx, second) })
	got, err := b.LatestPart(ctx, "T", store.Histology, "LAB", "P1")
	require.NoError(t, err)
	require.Equal(t, second.ID, got.ID)
	require.EqualValues(t, 2, got.Revision)
	require.Equal(t, []byte(`{"a":1}`), got.Body)
	_, err = b.LatestPart(ctx, "T", store.Events, "LAB", "P1")
	b.kind(err, fault.NotFound)
}

func partFinds(t *testing.T, b bench) {
	b.kase("c1", "R1")
	b.kase("c2", "R2")
	b.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.SetCaseKeys(ctx, "T", "c1", []store.MatchKey{accession("A1"), accession("A2"), {Name: store.ByOrder, System: "urn:o", Value: "A9"}}))
		return tx.SetCaseKeys(ctx, "T", "c2", []store.MatchKey{accession("A2")})
	})
	for value, want := range map[string][]string{"A0": nil, "A1": {"c1"}, "A2": {"c1", "c2"}, "A9": nil} {
		got, err := b.CasesByKeys(ctx, "T", []store.MatchKey{accession(value)})
		require.NoError(t, err)
		require.Equal(t, want, got, value)
	}
	// Two keys of one case are one match; a key of another tenant is none.
	got, err := b.CasesByKeys(ctx, "T", []store.MatchKey{accession("A1"), {Name: store.ByOrder, System: "urn:o", Value: "A9"}})
	require.NoError(t, err)
	require.Equal(t, []string{"c1"}, got)
	got, err = b.CasesByKeys(ctx, "T2", []store.MatchKey{accession("A1")})
	require.NoError(t, err)
	require.Empty(t, got)
	got, err = b.CasesByKeys(ctx, "T", nil)
	require.NoError(t, err)
	require.Empty(t, got)
	// The keys of a revision replace those before.
	b.tx(func(tx *store.Tx) error { return tx.SetCaseKeys(ctx, "T", "c2", []store.MatchKey{accession("A3")}) })
	keys, err := b.CaseKeys(ctx, "c2")
	require.NoError(t, err)
	require.Equal(t, []store.MatchKey{accession("A3")}, keys)
}

func parkedJoins(t *testing.T, b bench) {
	early, later, other := part("P1", 1, accession("A1")), part("P2", 1, accession("A1"), accession("A2")), part("P3", 1, accession("A7"))
	for _, d := range []*store.Document{early, later, other} {
		b.tx(func(tx *store.Tx) error { return tx.AddDocument(ctx, d) })
	}
	page, err := b.ParkedDocuments(ctx, store.ParkedQuery{Tenant: "T", Limit: 2})
	require.NoError(t, err)
	require.Equal(t, []string{other.ID, later.ID}, []string{page[0].ID, page[1].ID})
	page, err = b.ParkedDocuments(ctx, store.ParkedQuery{Tenant: "T", Limit: 2, After: page[1].ID})
	require.NoError(t, err)
	require.Equal(t, early.ID, page[0].ID)

	b.kase("c1", "R1")
	b.tx(func(tx *store.Tx) error {
		tx.LockKeys("T", []store.MatchKey{accession("A2"), accession("A1"), accession("A2")}, "c1")
		found, err := tx.ParkedByKeys(ctx, "T", []store.MatchKey{accession("A1")})
		require.NoError(t, err)
		require.Len(t, found, 2)
		require.Equal(t, early.ID, found[0].ID)
		return tx.JoinDocument(ctx, found[0].ID, "c1")
	})
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.JoinDocument(ctx, early.ID, "c1") }), fault.Conflict)
	got, err := b.Document(ctx, early.ID)
	require.NoError(t, err)
	require.Equal(t, store.Joined, got.State)
	require.Equal(t, "c1", got.CaseKey)
	// The same at once, by what tells one from another.
	for _, q := range []struct {
		part, kase string
		keys       []store.MatchKey
		want       store.Present
	}{
		{"P2", "c1", []store.MatchKey{accession("A1")}, store.Present{Latest: later.ID, Sequence: 1, Parked: []string{later.ID}}},
		{"P9", "c9", []store.MatchKey{accession("A7"), accession("A2")}, store.Present{Parked: []string{later.ID, other.ID}}},
		{"P1", "c1", nil, store.Present{Latest: early.ID, Sequence: 1}},
		{"P1", "", []store.MatchKey{accession("A0")}, store.Present{Latest: early.ID}},
	} {
		got, err := b.Present(ctx, "T", store.Histology, "LAB", q.part, q.kase, q.keys)
		require.NoError(t, err)
		require.Equal(t, q.want, got)
		got, err = b.Present(ctx, "T2", store.Report, "LAB", q.part, "", q.keys)
		require.NoError(t, err)
		require.Empty(t, got, "of another tenant")
	}
	keys, err := b.DocumentKeys(ctx, later.ID)
	require.NoError(t, err)
	require.Equal(t, []store.MatchKey{accession("A1"), accession("A2")}, keys)
}

func stateKeeps(t *testing.T, b bench) {
	b.kase("c1", "R1")
	var ids []string
	for revision := range int64(3) {
		d := part("P1", revision)
		d.State, d.CaseKey = store.Joined, "c1"
		b.tx(func(tx *store.Tx) error { return tx.AddDocument(ctx, d) })
		ids = append(ids, d.ID)
	}
	b.tx(func(tx *store.Tx) error { return tx.AddState(ctx, "c1", 1, ids[:1]) })
	b.tx(func(tx *store.Tx) error { return tx.AddState(ctx, "c1", 2, []string{ids[2], ids[1]}) })
	at, err := b.DocumentsAt(ctx, "c1", 2)
	require.NoError(t, err)
	require.Equal(t, ids[1:], []string{at[0].ID, at[1].ID})
	at, err = b.DocumentsAt(ctx, "c1", 1)
	require.NoError(t, err)
	require.Len(t, at, 1)
	_, err = b.DocumentsAt(ctx, "c1", 3)
	b.kind(err, fault.NotFound)
	all, err := b.CaseDocuments(ctx, "c1")
	require.NoError(t, err)
	require.Len(t, all, 3)
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.AddState(ctx, "c1", 1, ids[:1]) }), fault.Conflict)
}

func hostileText(t *testing.T, b bench) {
	hostile := "'; DROP TABLE cases; -- ? $1 \" \\ ü 切除 \n\t%"
	b.tx(func(tx *store.Tx) error {
		return tx.PutCase(ctx, store.Case{Key: "c1", Tenant: hostile, Source: hostile, ReportID: hostile, Sequence: 1, Status: "?", Updated: now})
	})
	found, _, err := b.Cases(ctx, store.CaseQuery{Tenant: hostile})
	require.NoError(t, err)
	require.Equal(t, hostile, found[0].ReportID)
}

func concurrentWriters(t *testing.T, b bench) {
	b.kase("c1", "R1")
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			for range 5 {
				err := b.InTx(ctx, func(tx *store.Tx) error {
					tx.LockCase("c1")
					c, err := tx.Case(ctx, "c1")
					if err != nil {
						return err
					}
					c.Sequence++
					return tx.PutCase(ctx, c)
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	c, err := b.Case(ctx, "c1")
	require.NoError(t, err)
	require.Equal(t, 41, c.Sequence)
}
