package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/internal/child"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// built is the program, built once for all tests.
var built string

func TestMain(m *testing.M) {
	folder, err := os.MkdirTemp("", "enbloc-pile-test-")
	if err != nil {
		panic(err)
	}
	built = filepath.Join(folder, "enbloc")
	code := 1
	if err = child.Build(context.Background(), built); err == nil {
		code = m.Run()
	}
	_ = os.RemoveAll(folder)
	if err != nil {
		panic(err)
	}
	os.Exit(code)
}

// tiny is a run of seconds, on both engines. Its large store takes two batches.
func tiny(t *testing.T, check func(*testing.T, config)) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			if engine == "postgres" {
				storetest.Postgres(t) // demands one, or skips
			}
			check(t, config{Store: engine, Binary: built, Folder: t.TempDir(), Few: 30, Cases: batch + 100, Rounds: 2, Each: 8, Memory: 60,
				Patience: 5 * time.Minute, Say: t.Logf})
		})
	}
}

func TestStoresAreComparedByTurns(t *testing.T) {
	t.Parallel()
	tiny(t, func(t *testing.T, c config) {
		g, err := grow(t.Context(), c)
		require.NoError(t, err)
		require.Equal(t, []int{30, batch + 100}, []int{g.Few.Cases, g.Many.Cases})
		require.Greater(t, g.Many.MB, g.Few.MB)
		for _, s := range []side{g.Few, g.Many} {
			require.Len(t, s.AcceptP99, 2)
			require.Len(t, s.Delivered, 2)
		}
		for _, ratio := range []float64{g.AcceptP99, g.AcceptP50, g.Delivered, g.Started} {
			require.Positive(t, ratio)
		}
		left, err := os.ReadDir(c.Folder)
		require.NoError(t, err)
		require.Empty(t, left)
	})
}

func TestMemoryIsReadByTenths(t *testing.T) {
	t.Parallel()
	tiny(t, func(t *testing.T, c config) {
		e, err := endure(t.Context(), c)
		require.NoError(t, err)
		require.Greater(t, e.Documents, c.Memory, "some cases have parts")
		require.Positive(t, e.Figures.ResidentMax)
	})
}

// A case that was piled up stands as its model does: with as many documents,
// states, keys, deliveries and ledger entries, each found by its own key.
func TestWhatIsPiledUpIsWhole(t *testing.T) {
	t.Parallel()
	tiny(t, func(t *testing.T, c config) {
		ctx := t.Context()
		l, err := openLab(ctx, c)
		require.NoError(t, err)
		defer l.close()
		var s side
		require.NoError(t, l.fill(ctx, &s, "one", c.Few))
		before := shapes(t, s.dsn)
		require.Len(t, before, c.Few)
		require.NoError(t, multiply(ctx, s.dsn, c.Cases, t.Logf))
		after := shapes(t, s.dsn)
		require.Len(t, after, c.Cases)
		models, first := map[shape]bool{}, map[byte]int{}
		for key, shape := range before {
			require.Equal(t, shape, after[key], "a real case has changed")
			models[shape] = true
		}
		for key, shape := range after {
			require.True(t, models[shape], "%s is like no real case: %+v", key, shape)
			first[key[1]]++
		}
		require.Len(t, first, 16, "keys lie as hashes do")
	})
}

// shape is how much there is of a case.
type shape struct{ sequence, documents, keys, deliveries, attempts, entries, delivered int }

// shapes are those of all cases, by key.
func shapes(t *testing.T, dsn string) map[string]shape {
	ctx := t.Context()
	st, err := store.Open(ctx, dsn)
	require.NoError(t, err)
	defer st.Close() //nolint:errcheck // only read
	out := map[string]shape{}
	for after := ""; ; {
		cases, err := st.CasesByKey(ctx, "", after, 500)
		require.NoError(t, err)
		if len(cases) == 0 {
			return out
		}
		for _, c := range cases {
			after = c.Key
			latest, err := st.LatestPart(ctx, c.Tenant, store.Report, c.Source, c.ReportID)
			require.NoError(t, err)
			require.Equal(t, c.Key, latest.CaseKey)
			s := shape{sequence: c.Sequence}
			documents, err := st.DocumentsAt(ctx, c.Key, c.Sequence)
			require.NoError(t, err)
			s.documents = len(documents)
			keys, err := st.CaseKeys(ctx, c.Key)
			require.NoError(t, err)
			s.keys = len(keys)
			found, err := st.CasesByKeys(ctx, c.Tenant, keys)
			require.NoError(t, err)
			require.Equal(t, []string{c.Key}, found)
			deliveries, err := st.Deliveries(ctx, store.DeliveryQuery{CaseKey: c.Key})
			require.NoError(t, err)
			s.deliveries = len(deliveries)
			for _, d := range deliveries {
				attempts, err := st.Attempts(ctx, d.ID)
				require.NoError(t, err)
				s.attempts += len(attempts)
			}
			entries, delivered, err := st.Ledger(ctx, "sink", c.Key)
			require.NoError(t, err)
			s.entries, s.delivered = len(entries), delivered
			out[c.Key] = s
		}
	}
}
