package bulk_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/pseudo"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/server/bulk"
	"enbloc/server/consent"
	"enbloc/server/intake"
	"enbloc/server/servertest"
	"enbloc/server/store"
)

type stock struct {
	t *testing.T
	s *servertest.Service
}

func newStock(t *testing.T, cases int) (stock, []sample.Case) {
	t.Helper()
	k := stock{t, servertest.Start(t, servertest.Options{Undelivered: true})}
	var all []sample.Case
	for seed := range uint64(cases) {
		c := sample.Make(seed + 1)
		all = append(all, c)
		k.accept(store.Report, c.Report)
		for _, h := range c.Histology {
			k.accept(store.Histology, h)
		}
	}
	return k, all
}

func (k stock) accept(kind store.Kind, document any) string {
	k.t.Helper()
	raw, err := json.Marshal(document)
	require.NoError(k.t, err)
	receipt, err := k.s.Intake.Accept(k.t.Context(), kind, raw, func(context.Context, *store.Tx, intake.Receipt) error { return nil })
	require.NoError(k.t, err)
	return receipt.Case
}

func (k stock) options(dir string, source consent.Source) bulk.Options {
	k.t.Helper()
	r, err := pseudo.New(pseudo.Settings{Name: "national", Secret: []byte("HTEST secret of a recipient, 32+ bytes")})
	require.NoError(k.t, err)
	return bulk.Options{Store: k.s.Store, Pipeline: mapping.New(servertest.Key), Recipient: r, Consent: source, Dir: dir, TestData: true}
}

func (k stock) export(change func(*bulk.Options)) (bulk.Summary, map[string]string) {
	k.t.Helper()
	o := k.options(k.t.TempDir(), consent.Always{})
	if change != nil {
		change(&o)
	}
	summary, err := bulk.Run(k.t.Context(), o)
	require.NoError(k.t, err)
	return summary, contents(k.t, o.Dir)
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

// except is consent of everybody but one.
type except string

func (e except) Allows(_ context.Context, p report.Identifier) (bool, error) {
	return p.Value != string(e), nil
}

func lines(text string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(strings.TrimSuffix(text, "\n"), "\n")
}

// places are Type/id of every resource in the files.
func places(t *testing.T, files map[string]string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for name, text := range files {
		kind := strings.TrimSuffix(name, ".ndjson")
		if kind == name || kind == "deleted" || kind == "error" {
			continue
		}
		for _, l := range lines(text) {
			var r struct{ ResourceType, ID string }
			require.NoError(t, json.Unmarshal([]byte(l), &r))
			require.Equal(t, kind, r.ResourceType)
			require.NotContains(t, all, kind+"/"+r.ID, "twice")
			all[kind+"/"+r.ID] = l
		}
	}
	return all
}

func deleted(t *testing.T, files map[string]string) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for _, l := range lines(files["deleted.ndjson"]) {
		var b struct {
			ResourceType, Type string
			Entry              []struct {
				Request  struct{ Method, URL string }
				Resource any
			}
		}
		require.NoError(t, json.Unmarshal([]byte(l), &b))
		require.Equal(t, "Bundle transaction", b.ResourceType+" "+b.Type)
		for _, e := range b.Entry {
			require.Equal(t, "DELETE", e.Request.Method)
			require.Nil(t, e.Resource)
			all[e.Request.URL] = true
		}
	}
	return all
}

var reference = regexp.MustCompile(`"reference":"([^"]*)"`)

// The manifest is as Bulk Data Access 2.0.0 has it
// (https://hl7.org/fhir/uv/bulkdata/STU2/export.html#response---output-manifest).
func TestAnExportIsWholeAndTellsNothingElse(t *testing.T) {
	t.Parallel()
	k, cases := newStock(t, 5)
	summary, files := k.export(nil)
	require.Equal(t, 5, summary.Cases)
	require.Zero(t, summary.Failed)
	all := places(t, files)
	require.Greater(t, len(all), 300)
	for place, l := range all {
		for _, m := range reference.FindAllStringSubmatch(l, -1) {
			require.Contains(t, all, m[1], "%s refers to what is not there", place)
		}
		require.Contains(t, l, `"PSEUDED"`)
	}
	require.NotContains(t, files, "Media.ndjson")
	require.NotContains(t, files, "deleted.ndjson")

	var manifest struct {
		TransactionTime     string
		Request             string
		RequiresAccessToken *bool
		Output, Error       []struct {
			Type, URL string
			Count     int
		}
		Deleted []any
	}
	require.NoError(t, json.Unmarshal([]byte(files["manifest.json"]), &manifest))
	require.False(t, *manifest.RequiresAccessToken)
	_, err := time.Parse(time.RFC3339Nano, manifest.TransactionTime)
	require.NoError(t, err)
	require.NotEmpty(t, manifest.Request)
	require.Empty(t, manifest.Error)
	require.Len(t, manifest.Output, len(files)-1)
	for _, o := range manifest.Output {
		require.Equal(t, o.Type+".ndjson", o.URL)
		require.Len(t, lines(files[o.URL]), o.Count)
		require.Equal(t, o.Count, summary.Resources[o.Type])
	}
	// 45 CFR 164.514(b)(2)(i): nothing of the documents that names somebody or
	// something is in a file or in the name of one.
	whole := ""
	for name, text := range files {
		whole += name + "\n" + text
	}
	require.NotContains(t, whole, "hospital.example")
	for _, c := range cases {
		for _, id := range []report.Identifier{c.Report.Patient.Identifier, c.Report.ReportID} {
			require.False(t, strings.Contains(whole, id.Value), id.Value)
		}
	}
}

func TestASecondExportGivesEqualBytes(t *testing.T) {
	t.Parallel()
	k, cases := newStock(t, 4)
	change := func(o *bulk.Options) { o.Consent = except(cases[2].Report.Patient.Identifier.Value) }
	_, first := k.export(change)
	_, second := k.export(change)
	require.Equal(t, first, second)
	// Into the same folder too, with nothing left of the one before.
	dir := t.TempDir()
	for range 2 {
		o := k.options(dir, consent.Always{})
		change(&o)
		_, err := bulk.Run(t.Context(), o)
		require.NoError(t, err)
	}
	require.Equal(t, first, contents(t, dir))
}

func TestWhoObjectsIsListedAsDeletedWhole(t *testing.T) {
	t.Parallel()
	k, cases := newStock(t, 3)
	_, before := k.export(nil)
	summary, files := k.export(func(o *bulk.Options) { o.Consent = except(cases[1].Report.Patient.Identifier.Value) })
	require.Equal(t, []int{2, 1}, []int{summary.Cases, summary.Withheld})
	was, is, gone := places(t, before), places(t, files), deleted(t, files)
	require.Greater(t, len(was), len(is))
	for place := range was {
		require.True(t, gone[place] != (is[place] != ""), place)
	}
	for place := range is {
		require.False(t, gone[place], place)
	}
	require.Contains(t, files["manifest.json"], `"url": "deleted.ndjson"`)
}

func TestWithdrawnCasesAndFormerStatesAreListedAsDeleted(t *testing.T) {
	t.Parallel()
	k, cases := newStock(t, 3)
	first, before := k.export(nil)
	withdrawn := cases[0].Report
	withdrawn.Revision, withdrawn.Status, withdrawn.StatusReason = withdrawn.Revision+1, report.Withdrawn, "Entered for the wrong patient."
	k.accept(store.Report, withdrawn)
	less := cases[1].Report
	require.NotNil(t, less.Plan)
	less.Revision, less.Status, less.StatusReason, less.Plan = less.Revision+1, report.Amended, "No plan any more.", nil
	k.accept(store.Report, less)

	summary, files := k.export(func(o *bulk.Options) { o.Since = first.TransactionTime.Add(time.Microsecond) })
	require.Equal(t, []int{1, 1, 0}, []int{summary.Cases, summary.Withdrawn, summary.Failed})
	gone, is := deleted(t, files), places(t, files)
	requests := 0
	for place := range gone {
		require.NotContains(t, is, place)
		if strings.HasPrefix(place, "ServiceRequest/") {
			requests++
		}
	}
	require.Positive(t, requests)
	// Whoever takes the first export and then the second has what a whole export
	// of now has.
	_, whole := k.export(nil)
	taken := places(t, before)
	for place, l := range is {
		taken[place] = l
	}
	for place := range gone {
		delete(taken, place)
	}
	require.Equal(t, places(t, whole), taken)

	// Nothing has changed since: no case, and the deletions once more.
	summary, files = k.export(func(o *bulk.Options) { o.Since = summary.TransactionTime.Add(time.Microsecond) })
	require.Zero(t, summary.Cases)
	require.Empty(t, places(t, files))
	require.NotEmpty(t, deleted(t, files))
}

type broken struct{}

func (broken) Allows(context.Context, report.Identifier) (bool, error) {
	return true, errors.New("the list is gone")
}

func TestAnExportThatFailsLeavesTheOneBefore(t *testing.T) {
	t.Parallel()
	k, _ := newStock(t, 2)
	dir := t.TempDir()
	_, err := bulk.Run(t.Context(), k.options(dir, consent.Always{}))
	require.NoError(t, err)
	before := contents(t, dir)
	for _, source := range []consent.Source{broken{}, consent.File{Path: filepath.Join(dir, "none.txt"), Rule: consent.OptOut}} {
		_, err = bulk.Run(t.Context(), k.options(dir, source))
		require.Error(t, err)
		require.Equal(t, before, contents(t, dir))
	}
	// A folder that holds files of somebody else is not touched.
	other := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(other, "mine.ndjson"), []byte("{}"), 0o600))
	_, err = bulk.Run(t.Context(), k.options(other, consent.Always{}))
	require.ErrorContains(t, err, "not of an export")
	require.FileExists(t, filepath.Join(other, "mine.ndjson"))
	// Test data and patients' data never mix.
	o := k.options(t.TempDir(), consent.Always{})
	o.TestData = false
	summary, err := bulk.Run(t.Context(), o)
	require.NoError(t, err)
	require.Equal(t, []int{0, 2}, []int{summary.Cases, summary.OtherAudience})
	require.Equal(t, 1, len(contents(t, o.Dir)))
	require.True(t, bytes.Contains([]byte(contents(t, o.Dir)["manifest.json"]), []byte(`"output": []`)))
}
