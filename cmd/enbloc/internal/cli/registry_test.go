package cli_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/pseudo"
)

// recipientFile writes a settings file with what it names.
func recipientFile(t *testing.T, settings string) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "r.secret"), []byte(strings.Repeat("s", 32)+"\n"), 0o600))
	path := filepath.Join(dir, "r.json")
	require.NoError(t, os.WriteFile(path, []byte(settings), 0o600))
	return path
}

const plainRecipient = `{"kind":"registry","recipient":"national","secret_file":"r.secret","dates":"month"}`

func TestPreviewSaysOfEveryFieldWhatBecomesOfIt(t *testing.T) {
	t.Parallel()
	page := filepath.Join(t.TempDir(), "p.html")
	r := run(t, example(t, bleed, "01-report.json"), "registry", "preview", "-", "--recipient", recipientFile(t, plainRecipient), "--html", page)
	require.Zero(t, r.code, r.err)
	for _, want := range []string{"Stays here", "Leaves, but not as it stands", "Leaves as it stands", "Observation.note.text", "DiagnosticReport.text.div", "not-listed", "cut-to-month"} {
		require.Contains(t, r.out, want)
	}
	html, err := os.ReadFile(page)
	require.NoError(t, err)
	require.Contains(t, string(html), "cut to year and month")
	require.NotContains(t, string(html), "<script", "a page that runs something")

	asJSON := run(t, example(t, bleed, "01-report.json"), "registry", "preview", "-", "--json")
	require.Zero(t, asJSON.code, asJSON.err)
	var sheet struct {
		Format string
		Fields map[string]int
		Rows   []struct {
			Type, Path, Verdict, Reason, Why string
			Count                            int
		}
	}
	require.NoError(t, json.Unmarshal([]byte(asJSON.out), &sheet))
	require.Equal(t, "enbloc-registry-preview/1", sheet.Format)
	total := map[string]int{}
	for _, row := range sheet.Rows {
		require.NotEmpty(t, row.Why, row.Path)
		total[row.Verdict] += row.Count
	}
	require.Equal(t, sheet.Fields, total)

	bundle := run(t, example(t, bleed, "01-report.json"), "registry", "preview", "-", "--bundle")
	require.Zero(t, bundle.code, bundle.err)
	require.NotContains(t, bundle.out, "hospital.example")
	require.Contains(t, bundle.out, "ifNoneExist\":\"identifier=https://enbloc.example/fhir/sid/recipient/example/role-key|k")
}

func TestAllowListIsAStartForAnother(t *testing.T) {
	t.Parallel()
	r := run(t, "", "registry", "allow-list")
	require.Zero(t, r.code)
	list, err := pseudo.ReadAllowList([]byte(r.out))
	require.NoError(t, err)
	require.Equal(t, pseudo.Default(), list)
}

func TestRecipientFilesAreReadStrictly(t *testing.T) {
	t.Parallel()
	for want, settings := range map[string]string{
		"kind":            `{"recipient":"national","secret_file":"r.secret"}`,
		"unknown field":   `{"kind":"registry","recipient":"national","secret":"x"}`,
		"shorter than 32": `{"kind":"registry","recipient":"national"}`,
		"lower-case":      `{"kind":"registry","recipient":"National Registry","secret_file":"r.secret"}`,
		"treat dates":     `{"kind":"registry","recipient":"national","secret_file":"r.secret","dates":"year"}`,
		"the consent":     `{"kind":"registry","recipient":"national","secret_file":"r.secret","consent":{"rule":"opt-out"}}`,
		"asked for":       `{"kind":"registry","recipient":"national","secret_file":"r.secret","consent":{"url":"http://consent.example/"}}`,
		"no such file":    `{"kind":"registry","recipient":"national","secret_file":"r.secret","allow_file":"none.json"}`,
	} {
		r := run(t, example(t, bleed, "01-report.json"), "registry", "preview", "-", "--recipient", recipientFile(t, settings))
		require.Equal(t, 2, r.code, want)
		require.Contains(t, r.err, want)
		require.Empty(t, r.out)
	}
}

func TestRegistryExportNeedsARecipientWithConsent(t *testing.T) {
	t.Parallel()
	out := filepath.Join(t.TempDir(), "out")
	r := run(t, "", "registry", "export", "--out", out)
	require.Equal(t, 2, r.code)
	require.Contains(t, r.err, "--recipient FILE --out DIR")
	r = run(t, "", "registry", "export", "--out", out, "--recipient", recipientFile(t, plainRecipient))
	require.Equal(t, 2, r.code)
	require.Contains(t, r.err, `no "consent"`)
	withConsent := strings.Replace(plainRecipient, `"dates"`, `"consent":{"rule":"none"},"dates"`, 1)
	r = run(t, "", "registry", "export", "--out", out, "--recipient", recipientFile(t, withConsent), "--since", "yesterday")
	require.Equal(t, 2, r.code)
	r = run(t, "", "registry", "export", "--out", out, "--recipient", recipientFile(t, withConsent), "--data", t.TempDir())
	require.Equal(t, 2, r.code)
	require.Contains(t, r.err, "there is no store")
	require.NoDirExists(t, out)
}
