package store_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

func onBoth(t *testing.T, check func(*testing.T, *store.Store)) {
	t.Run("sqlite", func(t *testing.T) { t.Parallel(); check(t, open(t, filepath.Join(t.TempDir(), "enbloc.db"))) })
	t.Run("postgres", func(t *testing.T) { t.Parallel(); check(t, open(t, storetest.Postgres(t))) })
}

// revision stores the next document of a case as its only one, with an outbox row.
func revision(t *testing.T, s *store.Store, key string, n int, at time.Time, state store.DeliveryState) {
	t.Helper()
	ctx := context.Background()
	require.NoError(t, s.InTx(ctx, func(tx *store.Tx) error {
		if err := tx.PutCase(ctx, store.Case{Key: key, Tenant: "T", Source: "S", ReportID: key, Sequence: n, Revision: int64(n), Updated: at}); err != nil {
			return err
		}
		d := store.Document{CaseKey: key, Tenant: "T", Source: "S", Kind: store.Report, PartID: key, Revision: int64(n), Hash: "h", Body: []byte(`{}`), State: store.Joined, Received: at}
		if err := tx.AddDocument(ctx, &d); err != nil {
			return err
		}
		if err := tx.AddState(ctx, key, n, []string{d.ID}); err != nil {
			return err
		}
		row := store.Delivery{ID: key + d.ID, CaseKey: key, Sequence: n, Target: "x", Created: at}
		if err := tx.AddDelivery(ctx, row); err != nil || state == store.Waiting {
			return err
		}
		claimed, _, err := tx.Claim(ctx, "", row.ID, "w", at, time.Minute)
		if err != nil {
			return err
		}
		if err := tx.Finish(ctx, claimed, store.Outcome{State: state}, store.Attempt{Started: at}, at); err != nil {
			return err
		}
		return tx.PutLedger(ctx, "x", []store.LedgerEntry{{RoleKey: "k" + key, Role: "r", CaseKey: key, Type: "Observation", ServerID: "1",
			Version: "1", Hash: "h", Body: []byte(`{"a":1}`), Sequence: n, Written: at}})
	}))
}

func thin(t *testing.T, s *store.Store, before time.Time) (n int) {
	t.Helper()
	require.NoError(t, s.InTx(context.Background(), func(tx *store.Tx) (err error) {
		n, err = tx.Thin(context.Background(), before, 100)
		return err
	}))
	return n
}

// bodies lists the bodies of a case's documents, oldest first, and of its ledger.
func bodies(t *testing.T, s *store.Store, key string) (documents, ledger []string) {
	t.Helper()
	all, err := s.CaseDocuments(context.Background(), key)
	require.NoError(t, err)
	for _, d := range all {
		require.Equal(t, "h", d.Hash, "the hash stays")
		documents = append(documents, string(d.Body))
	}
	entries, _, err := s.Ledger(context.Background(), "x", key)
	require.NoError(t, err)
	for _, e := range entries {
		require.Equal(t, "1", e.Version)
		require.Equal(t, "h", e.Hash, "the hash stays")
		ledger = append(ledger, string(e.Body))
	}
	return documents, ledger
}

func TestThinningKeepsWhatIsNeeded(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, s *store.Store) {
		old := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		limit := old.AddDate(0, 0, 30)
		revision(t, s, "closed", 1, old, store.Delivered)
		revision(t, s, "closed", 2, old, store.DeliveredWithDifferences)
		revision(t, s, "young", 1, limit, store.Delivered)
		for key, state := range map[string]store.DeliveryState{"waiting": store.Waiting, "retrying": store.Retrying, "parked": store.ParkedDelivery,
			"conflict": store.InConflict, "dead": store.Dead} {
			revision(t, s, key, 1, old, state)
		}
		require.Equal(t, 1, thin(t, s, limit))
		documents, ledger := bodies(t, s, "closed")
		require.Equal(t, []string{"", "{}"}, documents, "the present state keeps its documents")
		require.Equal(t, []string{""}, ledger)
		for _, key := range []string{"young", "retrying", "parked", "conflict", "dead"} {
			documents, ledger := bodies(t, s, key)
			require.Equal(t, []string{"{}"}, documents, key)
			require.Equal(t, []string{`{"a":1}`}, ledger, key)
		}
		require.Zero(t, thin(t, s, limit), "each once")
		// A later document makes the case whole work again, and it is thinned anew.
		revision(t, s, "closed", 3, old.AddDate(0, 0, 40), store.Delivered)
		require.Zero(t, thin(t, s, limit))
		require.Equal(t, 2, thin(t, s, old.AddDate(0, 0, 80)), "closed and young")
		documents, _ = bodies(t, s, "closed")
		require.Equal(t, []string{"", "", "{}"}, documents)
	})
}

func TestLookingForCasesToThinWalksNothing(t *testing.T) {
	t.Parallel()
	s := open(t, filepath.Join(t.TempDir(), "enbloc.db"))
	plan := explain(t, s.DB(), `SELECT case_key FROM cases WHERE thinned < sequence AND updated_at < 5
		AND NOT EXISTS (SELECT 1 FROM deliveries d WHERE d.case_key = cases.case_key AND d.state NOT IN ('delivered')) ORDER BY updated_at LIMIT 5`)
	require.Contains(t, plan, "cases_thin")
	require.NotContains(t, plan, "SCAN d")
	require.NotContains(t, plan, "TEMP B-TREE")
}
