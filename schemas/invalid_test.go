package schemas

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

var update = flag.Bool("update", false, "rewrite the wanted findings in testdata/invalid; read the diff by eye")

const (
	invalidFolder = "../testdata/invalid/"
	wantSuffix    = ".want-findings.json"
)

// wanted is what stands beside each bad document.
type wanted struct {
	Malformed bool             `json:"malformed"` // HTTP 400, else 422
	Findings  []report.Finding `json:"findings"`
}

// Each bad document is refused with exactly the findings that stand beside it.
func TestBadDocumentsAreRefusedInWords(t *testing.T) {
	t.Parallel()
	names, err := filepath.Glob(invalidFolder + "*.json")
	require.NoError(t, err)
	bad := 0
	for _, name := range names {
		if strings.HasSuffix(name, wantSuffix) {
			continue
		}
		bad++
		t.Run(strings.TrimSuffix(filepath.Base(name), ".json"), func(t *testing.T) {
			t.Parallel()
			raw, err := os.ReadFile(name)
			require.NoError(t, err)
			r, findings := DecodeReport(raw)
			require.Equal(t, report.Report{}, r)
			require.True(t, report.Rejects(findings))
			got, err := json.MarshalIndent(wanted{Malformed(findings), findings}, "", "  ")
			require.NoError(t, err)
			wantFile := strings.TrimSuffix(name, ".json") + wantSuffix
			if *update {
				require.NoError(t, os.WriteFile(wantFile, append(got, '\n'), 0o644))
			}
			want, err := os.ReadFile(wantFile)
			require.NoError(t, err)
			require.Equal(t, string(want), string(got)+"\n")
		})
	}
	require.GreaterOrEqual(t, bad, 35)
}

// A body far beyond the limit is refused by its length alone.
func TestHugeBodyIsRefusedUnread(t *testing.T) {
	t.Parallel()
	huge := append([]byte(`{"schema":"`), bytes.Repeat([]byte("a"), 50<<20)...)
	_, findings := DecodeReport(huge)
	require.Len(t, findings, 1)
	require.Equal(t, "json.too-large", findings[0].ID)
	require.True(t, Malformed(findings))
}

// However many faults a document has, the answer stays readable.
func TestFindingsAreBounded(t *testing.T) {
	t.Parallel()
	raw := []byte(`{"schema":"enbloc.report/1","images":[` + strings.Repeat(`{"view":1},`, 2000) + `{}]}`)
	_, findings := DecodeReport(raw)
	require.Len(t, findings, MaxFindings+1)
	require.Equal(t, "document.more-findings", findings[MaxFindings].ID)
}

// No finding repeats what could be about a person: identifiers, free text,
// keys that are no field names, or words in the place of a term.
func TestFindingsAreDiscreet(t *testing.T) {
	t.Parallel()
	const secret = "Zzyzx"
	for _, path := range []string{
		`"status":"Zzyzx"`, `"Zzyzx Born-1950":1`, `"author":{"system":"x:Zzyzx","value":"\u0007Zzyzx"}`, `"author":"Zzyzx"`,
		`"source_system":"Zzyzx"`, `"written_at":"Zzyzx"`, `"patient":{"age_y":"Zzyzx mm"}`, `"status_reason":"Zzyzx\u0000"`,
		`"revision":"Zzyzx"`, `"lesions":[{"number":1,"examination":{"organ":"Zzyzx","paris":["Zzyzx"],"size_long_mm":"Zzyzx"}}]`,
		`"plan":{"follow_ups":[{"kind":"endoscopy","earliest":"Zzyzx"}]}`, `"events":[{"id":"Zzyzx !"}]`,
	} {
		_, findings := DecodeReport([]byte(`{"schema":"enbloc.report/1",` + path + `}`))
		require.NotEmpty(t, findings)
		for _, f := range findings {
			require.NotContains(t, f.Text+f.Mend+f.Pointer, secret, path)
		}
	}
	for _, broken := range []string{`{"Zzyzx Born-1950":`, `{"schema":"Zzyzx`, `{"a":Zzyzx}`, `{"Zzyzx Born":1,"Zzyzx Born":2}`} {
		_, findings := DecodeReport([]byte(broken))
		require.NotEmpty(t, findings)
		for _, f := range findings {
			require.NotContains(t, f.Text+f.Mend+f.Pointer, secret, broken)
		}
	}
}

func TestKindsAreTold(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"gastric": report.SchemaReport, "histology": report.SchemaHistology, "events": report.SchemaEvents,
	} {
		raw, err := os.ReadFile("testdata/" + name + ".json")
		require.NoError(t, err)
		kind, findings := Kind(raw)
		require.Empty(t, findings)
		require.Equal(t, want, kind)
	}
	kind, findings := Kind([]byte(`{"schema":"enbloc.report/7"}`))
	require.Empty(t, kind)
	require.Equal(t, "document.version", findings[0].ID)
	_, findings = Kind([]byte(`{`))
	require.True(t, Malformed(findings))
}
