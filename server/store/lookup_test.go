package store

import (
	"context"
	"database/sql"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// recorder notes the statements that go through it.
type recorder struct {
	*sql.DB
	queries []string
	args    [][]any
}

func (r *recorder) note(query string, args []any) {
	r.queries, r.args = append(r.queries, query), append(r.args, args)
}

func (r *recorder) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	r.note(query, args)
	return r.DB.ExecContext(ctx, query, args...)
}

func (r *recorder) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	r.note(query, args)
	return r.DB.QueryContext(ctx, query, args...)
}

func (r *recorder) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	r.note(query, args)
	return r.DB.QueryRowContext(ctx, query, args...)
}

// What is asked for every document and every delivery is looked up by what is
// its own. A search by the tenant, the target or the kind alone reads a row of
// every case there is: nobody notices before there are a hundred thousand.
func TestNothingIsReadOfEveryCase(t *testing.T) {
	t.Parallel()
	ctx, now := context.Background(), time.Now()
	s, err := Open(ctx, filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	defer s.Close()
	r := &recorder{DB: s.writer}
	tx := &Tx{reads: reads{ex: r, engine: SQLite}}
	keys := []MatchKey{{ByReport, "S", "1"}, {ByOrder, "S", "2"}, {ByAccession, "S", "3"}}
	for n := 1; n <= len(keys); n++ {
		_, _ = tx.CasesByKeys(ctx, "T", keys[:n])
		_, _ = tx.ParkedByKeys(ctx, "T", keys[:n])
		_, _ = tx.Present(ctx, "T", Report, "S", "P", "C", keys[:n])
	}
	_, _ = tx.Answer(ctx, "T", "K")
	_, _ = tx.Case(ctx, "C")
	_, _ = tx.LatestPart(ctx, "T", Report, "S", "P")
	_, _ = tx.DocumentsAt(ctx, "C", 1)
	_, _ = tx.CaseDocuments(ctx, "C")
	_, _ = tx.CaseKeys(ctx, "C")
	_, _ = tx.DocumentKeys(ctx, "D")
	_ = tx.SetCaseKeys(ctx, "T", "C", nil)
	_ = tx.JoinDocument(ctx, "D", "C")
	_ = tx.PutLedger(ctx, "X", []LedgerEntry{{CaseKey: "C", RoleKey: "1"}, {RoleKey: "2"}})
	_, _, _ = tx.Ledger(ctx, "X", "C")
	_, _, _ = tx.Ledger(ctx, "X", "C", "1", "2")
	_ = tx.SupersedeBelow(ctx, "X", "C", 2, now)
	_, _ = tx.NextOpen(ctx, "X", "C", 1)
	_, _ = tx.Attempts(ctx, "D")
	_, _ = tx.OpenCounts(ctx)
	_, _ = tx.Holders(ctx)
	d := Delivery{ID: "D", CaseKey: "C", Sequence: 1, Target: "X", Created: now}
	require.NoError(t, tx.AddDelivery(ctx, d))
	d, verdict, err := tx.Claim(ctx, "", "D", "W", now, time.Minute)
	require.NoError(t, err)
	require.Equal(t, Claimed, verdict)
	require.NoError(t, tx.Finish(ctx, d, Outcome{State: Delivered}, Attempt{}, now))

	// One of these columns must be given, beside whatever others.
	own := []string{"case_key=?", "id=?", "document_id=?", "delivery_id=?", "value=?", "part_id=?", "report_id=?", "key=?", "role_key=?", "state=?"}
	searches := 0
	for i, query := range r.queries {
		plan, err := list(ctx, s.reads, func(row scanner) (step string, err error) {
			var ignored int
			err = row.Scan(&ignored, &ignored, &ignored, &step)
			return step, err
		}, "EXPLAIN QUERY PLAN "+query, r.args[i]...)
		require.NoError(t, err, query)
		for _, step := range plan {
			require.NotContains(t, strings.ReplaceAll(step, "SCAN CONSTANT ROW", ""), "SCAN", query)
			if _, by, found := strings.Cut(step, " ("); found && strings.HasPrefix(step, "SEARCH") {
				searches++
				terms := strings.Split(strings.Trim(by, "()"), " AND ")
				require.True(t, slices.ContainsFunc(terms, func(term string) bool { return slices.Contains(own, term) }), "%s\n%s", step, query)
			}
		}
	}
	require.Greater(t, searches, 25)
}
