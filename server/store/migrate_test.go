package store_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// released are the beginnings of the SHA-256 of the migrations: there are
// databases that each of them has made.
var released = map[string]string{
	"0001_first_tables.sql":   "49dcc4b9048d3700",
	"0002_targets.sql":        "b0d9f9cb1a5c0753",
	"0003_retention.sql":      "95f1edeed40eead8",
	"0004_learned.sql":        "680dec927301c470",
	"0005_tenants.sql":        "d5ea9a25d77dbcf3",
	"0006_change_mark.sql":    "41b3b604a9885a8d",
	"0007_ledger_by_case.sql": "2ddc6d94078cfae5",
	"0008_ledger_pages.sql":   "01be09fd6586dc6c",
}

func TestReleasedMigrationsNeverChange(t *testing.T) {
	t.Parallel()
	files, err := os.ReadDir("migrations")
	require.NoError(t, err)
	require.Len(t, files, len(released))
	for _, f := range files {
		text, err := os.ReadFile(filepath.Join("migrations", f.Name()))
		require.NoError(t, err)
		sum := sha256.Sum256(text)
		require.Equal(t, released[f.Name()], hex.EncodeToString(sum[:8]), f.Name())
	}
}

// A database of every version opens and keeps what it holds: rows, their
// meaning, and what later versions work out of them. A second opening finds all
// of it again.
func TestADatabaseOfEveryVersionIsMigrated(t *testing.T) {
	t.Parallel()
	newest := storetest.Newest(t, "migrations")
	for version := 1; version < newest; version++ {
		for engine, dsn := range map[string]func(*testing.T) string{
			"sqlite":   func(t *testing.T) string { return filepath.Join(t.TempDir(), "old.db") },
			"postgres": func(t *testing.T) string { return storetest.Postgres(t) },
		} {
			t.Run(fmt.Sprintf("%d/%s", version, engine), func(t *testing.T) {
				t.Parallel()
				at := dsn(t)
				old := storetest.OpenOld(t, at, "migrations", version)
				fill(old)
				old.Close()
				for range 2 {
					st, err := store.Open(t.Context(), at)
					require.NoError(t, err)
					var steps, last int
					require.NoError(t, st.DB().QueryRowContext(t.Context(), `SELECT count(*), max(version) FROM schema_version`).Scan(&steps, &last))
					require.Equal(t, newest, last)
					require.Equal(t, newest, steps, "each migration has run once")
					keptCases(t, st)
					keptDeliveries(t, st)
					keptLedger(t, st, version)
					keptTargets(t, st, version)
					require.NoError(t, st.Close())
				}
				st := open(t, at)
				worksOn(t, st)
			})
		}
	}
}

// oldRows are outbox rows in the states that a program leaves when it ends.
var oldRows = []store.Delivery{
	{ID: "d1", CaseKey: "c1", Tenant: "T", Sequence: 1, State: store.Delivered, Attempts: 1},
	{ID: "d2", CaseKey: "c1", Tenant: "T", Sequence: 2, State: store.Waiting},
	{ID: "d3", CaseKey: "c2", Tenant: "T", Sequence: 1, State: store.InConflict, Reason: "changed-by-others", Explanation: "E", Attempts: 2},
	{ID: "d4", CaseKey: "c2", Tenant: "T", Sequence: 2, State: store.Waiting},
	{ID: "d5", CaseKey: "c3", Tenant: "U", Sequence: 1, State: store.Sending, Attempts: 1, ClaimedBy: "gone"},
	{ID: "d6", CaseKey: "c4", Tenant: "U", Sequence: 1, State: store.Retrying, Attempts: 3, Uncertain: true},
	{ID: "d7", CaseKey: "c4", Tenant: "U", Sequence: 2, State: store.Dead, Reason: "refused", Attempts: 1},
	{ID: "d8", CaseKey: "c5", Sequence: 1, State: store.ParkedDelivery, Attempts: 1},
}

// ledgerInRows is the last version whose ledger has a row for each resource, and
// manyOwners more cases than the migration that packs it takes at once.
const (
	ledgerInRows = 7
	manyOwners   = 1005
)

func fill(o *storetest.Old) {
	for _, c := range []struct {
		key, tenant string
		sequence    int
	}{{"c1", "T", 2}, {"c2", "T", 2}, {"c3", "U", 1}, {"c4", "U", 2}, {"c5", "", 1}} {
		o.Case(c.key, c.tenant, c.sequence)
	}
	o.Put("case_keys", storetest.Row{"case_key": "c1", "tenant": "T", "name": "order", "system": "s", "value": "v"})
	o.Put("documents", storetest.Row{"id": "p1", "tenant": "T", "source": "L", "kind": "histology", "part_id": "P", "revision": 1,
		"hash": "h", "body": []byte(`{"p":1}`), "state": "parked", "received_at": 5})
	o.Put("document_keys", storetest.Row{"document_id": "p1", "tenant": "T", "name": "accession", "system": "s", "value": "w"})
	for _, d := range oldRows {
		d.Target = "x"
		o.Delivery(d)
	}
	o.Put("attempts", storetest.Row{"delivery_id": "d1", "number": 1, "started_at": 5, "duration_us": 1500, "http_status": 200,
		"class": "done", "reason": "", "diagnostics": "", "request_id": "q"})
	o.Put("delivered", storetest.Row{"target": "x", "case_key": "c1", "sequence": 1, "written_at": 5})
	o.Put("idempotency", storetest.Row{"tenant": "T", "key": "k", "request_hash": "h", "status": 202, "content_type": "application/json",
		"body": []byte(`{"a":1}`), "created_at": 5})
	o.Ledger("x", oldLedger...)
	o.Ledger("y", oldLedger[1])
	if o.Version == ledgerInRows {
		o.Exec(fmt.Sprintf(`WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < %d)
			INSERT INTO ledger (target, role_key, case_key, role, type, server_id, version, hash, body, sequence, voided, written_at)
			SELECT 'z', 'z' || i, 'z' || i, role, type, server_id, version, hash, body, sequence, voided, written_at FROM ledger, n WHERE target = 'y'`, manyOwners))
	}
	if o.Version >= 2 {
		o.Put("targets", storetest.Row{"target": "x", "rung": 3, "first_write": "condition", "usable": 1, "capability_hash": "h", "document": []byte(`{"d":1}`), "checked_at": 5})
	}
	if o.Version >= 4 {
		o.Put("learned", storetest.Row{"target": "x", "rung": 4, "refused": 3, "status": 405, "stepped_at": 6, "max_entries": 9, "learned_at": 6})
	}
}

func at(us int64) time.Time { return time.UnixMicro(us).UTC() }

// oldLedger is what stands of case c1 on target x, and the device that it shares.
var oldLedger = []store.LedgerEntry{
	{RoleKey: "k2", Role: "lesion/1", CaseKey: "c1", Type: "Condition", ServerID: "8", Version: "1", Hash: "h2", Body: []byte(`{"b":2}`), Sequence: 2, Voided: true, Written: at(7)},
	{RoleKey: "k1", Role: "report", CaseKey: "c1", Type: "DiagnosticReport", ServerID: "7", Version: "3", Hash: "h1", Body: []byte(`{"b":1}`), Sequence: 1, Written: at(5)},
	{RoleKey: "k3", Role: "shared/device", Type: "Device", ServerID: "6", Version: "1", Hash: "h3", Body: []byte(`{"b":3}`), Sequence: 1, Written: at(5)},
}

func keptCases(t *testing.T, st *store.Store) {
	c, err := st.Case(t.Context(), "c1")
	require.NoError(t, err)
	require.Equal(t, store.Case{Key: "c1", Tenant: "T", Source: "S", ReportID: "R-c1", Sequence: 2, Revision: 2, Status: "final",
		Summary: []byte(`{"lesions":1}`), Created: at(5), Updated: at(6)}, c)
	for sequence, body := range map[int]string{1: `{"n":1.50}`, 2: `{"n":2.50}`} {
		documents, err := st.DocumentsAt(t.Context(), "c1", sequence)
		require.NoError(t, err)
		require.Len(t, documents, 1)
		require.Equal(t, body, string(documents[0].Body), "digits as they were")
	}
	cases, err := st.CasesByKeys(t.Context(), "T", []store.MatchKey{{Name: store.ByOrder, System: "s", Value: "v"}})
	require.NoError(t, err)
	require.Equal(t, []string{"c1"}, cases)
	parked, err := st.ParkedByKeys(t.Context(), "T", []store.MatchKey{{Name: store.ByAccession, System: "s", Value: "w"}})
	require.NoError(t, err)
	require.Len(t, parked, 1)
	require.Equal(t, `{"p":1}`, string(parked[0].Body))
	answer, err := st.Answer(t.Context(), "T", "k")
	require.NoError(t, err)
	require.Equal(t, store.Answer{RequestHash: "h", Status: 202, ContentType: "application/json", Body: []byte(`{"a":1}`), Created: at(5)}, answer)
}

func keptDeliveries(t *testing.T, st *store.Store) {
	seen := 0
	for _, tenant := range []string{"T", "U", ""} {
		rows, err := st.Deliveries(t.Context(), store.DeliveryQuery{Tenant: tenant})
		require.NoError(t, err)
		seen += len(rows)
		for _, got := range rows {
			want := oldRows[got.ID[1]-'1']
			require.Equal(t, want.ID, got.ID)
			want.Target, want.Details = "x", []byte(`{}`)
			want.NextAttempt, want.Created, want.Updated = at(5), at(5), at(5)
			if want.ClaimedBy != "" {
				want.ClaimedUntil = at(7)
			}
			require.Equal(t, want, got, "the tenant is that of its case")
		}
	}
	require.Equal(t, len(oldRows), seen)
	attempts, err := st.Attempts(t.Context(), "d1")
	require.NoError(t, err)
	require.Equal(t, []store.Attempt{{Number: 1, Started: at(5), Duration: 1500 * time.Microsecond, HTTPStatus: 200, Class: "done", RequestID: "q"}}, attempts)
}

func keptLedger(t *testing.T, st *store.Store, version int) {
	stands, delivered, err := st.Ledger(t.Context(), "x", "c1", "k3")
	require.NoError(t, err)
	require.Equal(t, 1, delivered)
	require.Equal(t, []store.LedgerEntry{oldLedger[1], oldLedger[0], oldLedger[2]}, stands, "by role key, then what is shared")
	stands, delivered, err = st.Ledger(t.Context(), "y", "c1", "k3")
	require.NoError(t, err)
	require.Zero(t, delivered)
	require.Equal(t, []store.LedgerEntry{oldLedger[1]}, stands)
	if version != ledgerInRows {
		return
	}
	var pages int
	require.NoError(t, st.DB().QueryRowContext(t.Context(), `SELECT count(*) FROM ledger_pages WHERE target = 'z'`).Scan(&pages))
	require.Equal(t, manyOwners, pages)
	for _, n := range []int{0, manyOwners - 1} {
		key := fmt.Sprintf("z%d", n)
		stands, _, err := st.Ledger(t.Context(), "z", key)
		require.NoError(t, err)
		require.Len(t, stands, 1, key)
		require.Equal(t, key, stands[0].RoleKey)
	}
}

func keptTargets(t *testing.T, st *store.Store, version int) {
	p, err := st.Preflight(t.Context(), "x")
	if version < 2 {
		require.True(t, fault.Is(err, fault.NotFound), "%v", err)
	} else {
		require.NoError(t, err)
		require.Equal(t, store.Preflight{Target: "x", Rung: 3, FirstWrite: "condition", Usable: true, CapabilityHash: "h", Document: []byte(`{"d":1}`), Checked: at(5)}, p)
	}
	l, err := st.Learned(t.Context(), "x")
	require.NoError(t, err)
	if version < 4 {
		require.Zero(t, l)
	} else {
		require.Equal(t, store.Learned{Target: "x", Rung: 4, Refused: 3, Status: 405, Stepped: at(6), MaxEntries: 9, At: at(6)}, l)
	}
}

// worksOn does what a program does next with what an older one left.
func worksOn(t *testing.T, st *store.Store) {
	now := time.Now()
	for id, want := range map[string]store.Verdict{
		"d1": store.Closed, "d2": store.Claimed, "d3": store.Closed, "d4": store.Blocked,
		"d5": store.Claimed, "d6": store.Claimed, "d7": store.Closed, "d8": store.Claimed,
	} {
		tenant := oldRows[id[1]-'1'].Tenant
		_, _, err := st.Claim(t.Context(), tenant+"other", id, "w", now, time.Minute)
		require.True(t, fault.Is(err, fault.NotFound), "%s is not another's: %v", id, err)
		d, v, err := st.Claim(t.Context(), tenant, id, "w", now, time.Minute)
		require.NoError(t, err)
		require.Equal(t, want, v, id)
		require.Equal(t, id == "d5" || id == "d6", d.Uncertain, "%s: may have arrived", id)
	}
	more := oldLedger[1]
	more.Version, more.Written = "4", at(9)
	require.NoError(t, st.InTx(t.Context(), func(tx *store.Tx) error { return tx.PutLedger(t.Context(), "x", []store.LedgerEntry{more}) }))
	stands, _, err := st.Ledger(t.Context(), "x", "c1")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{more, oldLedger[0]}, stands, "what comes later takes the place of what was there")
	require.NoError(t, st.InTx(t.Context(), func(tx *store.Tx) error {
		n, err := tx.Thin(t.Context(), now, 100)
		require.Equal(t, 0, n, "no case is at rest: each has a row that is open, in conflict or dead")
		return err
	}))
}
