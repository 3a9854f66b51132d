package cli_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
)

const (
	formerMapping = `{"version": 1,
  "constants": {"/test_data": true, "/source_system": "https://hospital.example/former-list", "/report_id/system": "https://hospital.example/sid/former-list",
    "/patient/identifier/system": "https://hospital.example/sid/patient", "/written_at": "2026-03-10T12:00:00+01:00",
    "/session/kind": "upper-endoscopy", "/lesions/0/number": 1, "/lesions/0/examination/organ": "stomach"},
  "columns": [{"column": "No", "to": "/report_id/value"}, {"column": "Patient", "to": "/patient/identifier/value"},
    {"column": "Begin", "to": "/session/start", "time": "2006-01-02 15:04", "zone": "Europe/Berlin"},
    {"column": "End", "to": "/session/end", "time": "2006-01-02 15:04", "zone": "Europe/Berlin"},
    {"column": "How", "to": "/lesions/0/resection/technique", "values": {"E": "esd"}}]}`
	goodRow = "HTEST-1,HTEST-P1,2026-03-10 09:00,2026-03-10 10:00,E\n"
	badRow  = "HTEST-2,HTEST-P2,2026-03-10 09:00,2026-03-10 10:00,Z\n"
	heading = "No,Patient,Begin,End,How\n"
)

func TestImport(t *testing.T) {
	t.Parallel()
	m := onDisk(t, "mapping.json", formerMapping)
	out := filepath.Join(t.TempDir(), "drafts")

	refused := run(t, heading+goodRow+badRow, "import", "-", "--mapping", m, "--out", out)
	require.Equal(t, cli.HasErrors, refused.code, refused.err)
	require.Contains(t, refused.out, "How")
	require.NoDirExists(t, out, "nothing is written when a row is refused")

	some := run(t, heading+goodRow+badRow, "import", "-", "--mapping", m, "--out", out, "--accepted", "--json")
	require.Equal(t, cli.HasErrors, some.code)
	var said struct {
		Rows, Accepted, Written int
		Refused                 []struct{ Row int }
	}
	require.NoError(t, json.Unmarshal([]byte(some.out), &said))
	require.Equal(t, 1, said.Written)
	require.Equal(t, 3, said.Refused[0].Row)
	entries, err := os.ReadDir(out)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	require.Equal(t, cli.Good, run(t, "", "check", filepath.Join(out, "row-00002.json")).code)

	again := run(t, heading+goodRow, "import", "-", "--mapping", m, "--out", out)
	require.Equal(t, cli.Usage, again.code)
	require.Contains(t, again.err, "not empty")

	dry := run(t, heading+goodRow, "import", "-", "--mapping", m)
	require.Equal(t, cli.Good, dry.code, dry.err)
	require.Contains(t, dry.out, "0 written")

	broken := run(t, heading+goodRow, "import", "-", "--mapping", onDisk(t, "broken.json", `{"version": 1, "columns": [{"column": "No"}]}`))
	require.Equal(t, cli.Usage, broken.code)
	require.Contains(t, broken.err, "say where it goes")
}
