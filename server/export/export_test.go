package export_test

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/sample"
	"enbloc/mapping/table"
	"enbloc/server/export"
	"enbloc/server/intake"
	"enbloc/server/servertest"
	"enbloc/server/store"
)

// stock is a store of n accepted cases with their parts, undelivered.
func stock(t *testing.T, n int) export.Stored {
	t.Helper()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for c := range sample.Cohort(n, 5) {
		accept(t, s, store.Report, c.Report)
		for _, h := range c.Histology {
			accept(t, s, store.Histology, h)
		}
		for _, e := range c.Events {
			accept(t, s, store.Events, e)
		}
	}
	return export.Stored{Store: s.Store, Book: assess.DefaultBook(), Key: servertest.Key}
}

func accept(t *testing.T, s *servertest.Service, kind store.Kind, document any) {
	t.Helper()
	raw, err := json.Marshal(document)
	require.NoError(t, err)
	_, err = s.Intake.Accept(t.Context(), kind, raw, func(context.Context, *store.Tx, intake.Receipt) error { return nil })
	require.NoError(t, err)
}

func options(dir string, source export.Source) export.Options {
	return export.Options{Source: source, Dir: dir, Formats: export.Formats, Scope: "all", PerPart: 20}
}

// contents are the files of a folder by name.
func contents(t *testing.T, dir string) map[string]string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := map[string]string{}
	for _, e := range entries {
		raw, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = string(raw)
	}
	return out
}

// failing is a source whose nth page fails.
type failing struct {
	export.Source
	left int
}

var errCut = errors.New("cut")

func (f *failing) Page(ctx context.Context, after string, limit int) ([]table.Case, string, error) {
	if f.left--; f.left < 0 {
		return nil, "", errCut
	}
	return f.Source.Page(ctx, after, limit)
}

func TestExport(t *testing.T) {
	t.Parallel()
	source := stock(t, 50)
	first := filepath.Join(t.TempDir(), "first")
	summary, err := export.Run(t.Context(), options(first, source))
	require.NoError(t, err)
	require.Equal(t, 50, summary.Cases)
	require.Equal(t, 3, summary.Parts)
	require.Equal(t, 50, summary.Rows["case"])
	require.Positive(t, summary.Rows["delivery"])
	want := contents(t, first)
	require.Len(t, want, 3*2*len(table.All())+len(table.All())+1)

	t.Run("a second export gives equal bytes", func(t *testing.T) {
		t.Parallel()
		dir := t.TempDir()
		_, err := export.Run(t.Context(), options(dir, source))
		require.NoError(t, err)
		require.Equal(t, want, contents(t, dir))
	})
	t.Run("an interrupted export goes on, and the former one stays until then", func(t *testing.T) {
		t.Parallel()
		for cut := range 4 {
			dir := t.TempDir()
			require.NoError(t, os.WriteFile(filepath.Join(dir, "case-00009.csv"), []byte("former"), 0o600))
			_, err := export.Run(t.Context(), options(dir, &failing{source, cut}))
			require.ErrorIs(t, err, errCut)
			require.FileExists(t, filepath.Join(dir, "case-00009.csv"))
			require.NoFileExists(t, filepath.Join(dir, "case-00001.csv"))
			got, err := export.Run(t.Context(), options(dir, source))
			require.NoError(t, err)
			require.Equal(t, cut > 0, got.Resumed, cut)
			require.Equal(t, want, contents(t, dir), "cut before page %d", cut)
		}
	})
	t.Run("an unfinished export of something else is not continued", func(t *testing.T) {
		t.Parallel()
		dir := t.TempDir()
		_, err := export.Run(t.Context(), options(dir, &failing{source, 1}))
		require.ErrorIs(t, err, errCut)
		other := options(dir, source)
		other.Scope = "since 2026-01-01"
		_, err = export.Run(t.Context(), other)
		require.ErrorIs(t, err, export.ErrOther)
	})
	t.Run("since leaves out what has not changed", func(t *testing.T) {
		t.Parallel()
		later := source
		later.Since = time.Now().Add(time.Hour)
		got, err := export.Run(t.Context(), options(t.TempDir(), later))
		require.NoError(t, err)
		require.Zero(t, got.Cases)
	})
	t.Run("the formats have to be known", func(t *testing.T) {
		t.Parallel()
		wrong := options(t.TempDir(), source)
		wrong.Formats = []export.Format{"xlsx"}
		_, err := export.Run(t.Context(), wrong)
		require.Error(t, err)
	})
}

// TestKeysOfPeopleAreOpaque: two sites cannot join their tables, and one site
// can count by operator.
func TestKeysOfPeopleAreOpaque(t *testing.T) {
	t.Parallel()
	source := stock(t, 30)
	operators := func(s export.Stored) map[string]int {
		out := map[string]int{}
		require.NoError(t, export.Each(t.Context(), s, func(c table.Case) error {
			if row := table.Cases.Rows(c)[0]; !row[table.Cases.Index("operator_key")].Empty() {
				out[row[table.Cases.Index("operator_key")].Text()]++
			}
			return nil
		}))
		return out
	}
	ours := operators(source)
	require.Greater(t, len(ours), 1)
	require.Less(t, len(ours), 15)
	source.Key = []byte("another key of another site, not secret")
	for key := range operators(source) {
		require.Regexp(t, "^p[0-9a-f]{24}$", key)
		require.NotContains(t, ours, key)
	}
}
