package cli_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/mapping/term"
	"enbloc/schemas"
	"enbloc/testdata/cases"
)

func TestMapPrintsATransactionThatHoldsTogether(t *testing.T) {
	t.Parallel()
	report := example(t, bleed, "01-report.json")
	histology := onDisk(t, "h.json", example(t, bleed, "02-histology.json"))
	first := run(t, report, "map", "-", "--with", histology)
	require.Equal(t, cli.Good, first.code, first.err)
	requireTransaction(t, []byte(first.out))
	require.Equal(t, first.out, run(t, report, "map", "-", "--with", histology).out, "the same documents gave other bytes")

	key := onDisk(t, "key", strings.Repeat("ab", 32))
	other := run(t, report, "map", "-", "--with", histology, "--key-file", key)
	require.Equal(t, cli.Good, other.code, other.err)
	require.NotEqual(t, first.out, other.out, "another key has to make other identities")
}

// requireTransaction checks what FHIR asks of the frame of a transaction
// (http://hl7.org/fhir/R4/bundle.html) and that every internal reference has
// its entry.
func requireTransaction(t *testing.T, raw []byte) {
	t.Helper()
	var bundle struct {
		ResourceType, Type string
		Entry              []struct {
			FullURL  string `json:"fullUrl"`
			Resource struct{ ResourceType string }
			Request  struct{ Method, URL string }
		}
	}
	require.NoError(t, json.Unmarshal(raw, &bundle))
	require.Equal(t, "Bundle", bundle.ResourceType)
	require.Equal(t, "transaction", bundle.Type)
	require.NotEmpty(t, bundle.Entry)
	entries := map[string]bool{}
	for _, e := range bundle.Entry {
		require.NotEmpty(t, e.Resource.ResourceType)
		require.NotEmpty(t, e.Request.Method)
		require.False(t, entries[e.FullURL], "two entries under %s", e.FullURL)
		entries[e.FullURL] = true
	}
	for _, m := range regexp.MustCompile(`"reference":\s*"(urn:uuid:[^"]+)"`).FindAllStringSubmatch(string(raw), -1) {
		require.True(t, entries[m[1]], "%s leads nowhere", m[1])
	}
}

func TestExamplesWriteEveryStage(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := run(t, "", "examples", "--out", dir)
	require.Equal(t, cli.Good, r.code, r.err)
	names := regexp.MustCompile(`^(\d\d-[a-z0-9-]+)-(\d\d)-(report|histology|events)\.json$`)
	written, err := os.ReadDir(dir)
	require.NoError(t, err)
	documents := 0
	for _, c := range cases.All() {
		documents += len(c.Documents)
	}
	require.Len(t, written, documents)
	for _, f := range written {
		require.Regexp(t, names, f.Name())
		raw, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		requireTransaction(t, raw)
	}
}

func TestCodesListAllThatCanBeSent(t *testing.T) {
	t.Parallel()
	var answer struct {
		Codes []struct{ System, Code, Licence, Source string }
	}
	r := run(t, "", "codes", "--json")
	require.Equal(t, cli.Good, r.code, r.err)
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	require.Len(t, answer.Codes, len(term.Codes())+len(term.Concepts()))
	for _, c := range answer.Codes {
		require.NotEmpty(t, c.System)
		require.NotEmpty(t, c.Code)
		require.NotEmpty(t, c.Licence, c.Code)
		require.NotEmpty(t, c.Source, c.Code)
	}
	require.Contains(t, run(t, "", "codes", "--system", "loinc").out, "http://loinc.org")
	require.NotContains(t, run(t, "", "codes", "--system", "loinc", "--json").out, "snomed.info")

	dir := t.TempDir()
	require.Equal(t, cli.Good, run(t, "", "codes", "--out", dir).code)
	raw, err := os.ReadFile(filepath.Join(dir, "CodeSystem-enbloc.json"))
	require.NoError(t, err)
	require.Contains(t, string(raw), term.System)
}

func TestSchemasAreExportedAsTheyAre(t *testing.T) {
	t.Parallel()
	files := schemas.Files()
	require.NotEmpty(t, files)
	dir := t.TempDir()
	require.Equal(t, cli.Good, run(t, "", "schemas", "--out", dir).code)
	for _, f := range files {
		raw, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(f.Path)))
		require.NoError(t, err)
		require.JSONEq(t, string(f.Body), string(raw))
		require.Equal(t, string(f.Body), run(t, "", "schemas", f.Path).out)
	}
	require.Len(t, strings.Fields(run(t, "", "schemas").out), len(files))
}

func TestMarkdownBookHoldsEveryRule(t *testing.T) {
	t.Parallel()
	var book struct {
		Rules []struct{ Rule, Source string }
	}
	require.NoError(t, json.Unmarshal([]byte(run(t, "", "rules", "--json").out), &book))
	text := run(t, "", "rules", "--markdown").out
	for _, r := range book.Rules {
		require.Contains(t, text, "`"+r.Rule+"`")
		require.Contains(t, text, r.Source)
	}
}
