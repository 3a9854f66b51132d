package cli_test

import (
	"encoding/json"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/server/intake"
	"enbloc/server/servertest"
	"enbloc/server/store"
)

// stored fills a data folder with invented cases and returns the flags that
// name it.
func stored(t *testing.T, n int) []string {
	t.Helper()
	return storedOf(t, sample.Cohort(n, 8))
}

func storedOf(t *testing.T, cases iter.Seq[sample.Case]) []string {
	t.Helper()
	dir := t.TempDir()
	database := filepath.Join(dir, "enbloc.db")
	s := servertest.Start(t, servertest.Options{Undelivered: true, Database: database})
	for c := range cases {
		raw, err := json.Marshal(c.Report)
		require.NoError(t, err)
		var none intake.Within
		_, err = s.Intake.Accept(t.Context(), store.Report, raw, none)
		require.NoError(t, err)
	}
	key := filepath.Join(dir, "identity.key")
	require.NoError(t, os.WriteFile(key, []byte(strings.Repeat("ab", 32)), 0o600))
	return []string{"--data", dir}
}

func with(flags []string, args ...string) []string { return append(args, flags...) }

func TestExportAndIndicators(t *testing.T) {
	t.Parallel()
	flags := stored(t, 60)
	t.Run("export", func(t *testing.T) {
		t.Parallel()
		out := filepath.Join(t.TempDir(), "tables")
		got := run(t, "", with(flags, "export", "--out", out)...)
		require.Equal(t, cli.Good, got.code, got.err)
		require.Contains(t, got.out, "60 cases")
		require.FileExists(t, filepath.Join(out, "resection-00001.parquet"))
		require.FileExists(t, filepath.Join(out, "datapackage.json"))
	})
	t.Run("indicators", func(t *testing.T) {
		t.Parallel()
		got := run(t, "", with(flags, "indicators", "--test-data", "--as-of", "2027-01-01")...)
		require.Equal(t, cli.Good, got.code, got.err)
		require.Contains(t, got.out, "En bloc resection")
		pictures := filepath.Join(t.TempDir(), "pictures")
		got = run(t, "", with(flags, "indicators", "--test-data", "--json", "--by", "organ", "--pictures", pictures)...)
		require.Equal(t, cli.Good, got.code, got.err)
		require.True(t, json.Valid([]byte(got.out)))
		require.FileExists(t, filepath.Join(pictures, "sites-and-paris-types.png"))
		for _, form := range []string{"--csv", "--fhir"} {
			require.Equal(t, cli.Good, run(t, "", with(flags, "indicators", "--test-data", form)...).code)
		}
	})
	t.Run("clear answers", func(t *testing.T) {
		t.Parallel()
		broken := onDisk(t, "definitions.json", `{"version":"x"`)
		for _, c := range []struct {
			args []string
			say  string
		}{
			{[]string{"indicators", "--indicator", "en-block"}, "choose from"},
			{[]string{"indicators", "--by", "moon"}, "technique"},
			{[]string{"indicators", "--from", "yesterday"}, "2026-03-10"},
			{[]string{"indicators", "--from", "2026-05-01", "--to", "2026-04-01"}, "period is empty"},
			{[]string{"indicators", "--definitions", broken}, "definitions"},
			{[]string{"indicators", "--small-cell", "0"}, "1 or more"},
			{[]string{"export"}, "--out DIR"},
			{[]string{"export", "--out", t.TempDir(), "--format", "xlsx"}, "csv,parquet"},
			{[]string{"export", "--out", t.TempDir(), "--since", "monday"}, "2026-03-10"},
		} {
			got := run(t, "", with(flags, c.args...)...)
			require.Equal(t, cli.Usage, got.code, c.args)
			require.Contains(t, got.err, c.say, c.args)
		}
		empty := run(t, "", with(flags, "indicators", "--test-data", "--to", "1999-12-31")...)
		require.Equal(t, cli.Good, empty.code)
		require.Contains(t, empty.out, "No resection")
		nowhere := run(t, "", "export", "--out", t.TempDir(), "--data", t.TempDir())
		require.Equal(t, cli.Usage, nowhere.code)
		require.Contains(t, nowhere.err, "--data")
	})
}

// TestACohortOfOne: figures of one case would be that case. They are held back
// with a word, and there is nothing to draw.
func TestACohortOfOne(t *testing.T) {
	t.Parallel()
	flags := storedOf(t, func(yield func(sample.Case) bool) {
		for c := range sample.Cohort(100, 8) {
			if c.Report.Status == report.Signed && len(c.Report.Lesions) == 1 && c.Report.Lesions[0].Resection != nil {
				yield(c)
				return
			}
		}
	})
	pictures := filepath.Join(t.TempDir(), "pictures")
	got := run(t, "", with(flags, "indicators", "--test-data", "--as-of", "2027-01-01", "--pictures", pictures)...)
	require.Equal(t, cli.Good, got.code, got.err)
	require.Contains(t, got.out, "figures of so few would describe single patients")
	require.NotRegexp(t, `(?m)nothing to count.* [1-4]\s*$`, got.out, "a small count beside")
	require.NotRegexp(t, `\b(0|100)(\.0)?%\s+\(\d`, got.out, "a rate of one case")
	require.Contains(t, got.err, "too few cases for a picture")
	asked := run(t, "", with(flags, "indicators", "--test-data", "--as-of", "2027-01-01", "--small-cell", "1")...)
	require.Equal(t, cli.Good, asked.code, asked.err)
	require.Contains(t, asked.out, "1/1", "whoever asks for small cells gets them")
}
