package service

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/term"
)

// What has no code of the site is named at the start when the site has given
// codes, and counted when it has not.
func TestUnmappedIsToldAtTheStart(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "codes.json")
	require.NoError(t, os.WriteFile(path, []byte(`{"resourceType":"ConceptMap","group":[{"source":"`+term.System+
		`","target":"https://hospital.example/x","element":[{"code":"technique-esd","target":[{"code":"HTEST-1","equivalence":"equal"}]}]}]}`), 0o600))
	told := func(path string) string {
		var b bytes.Buffer
		codes, err := LoadCodes(path)
		require.NoError(t, err)
		tellUnmapped(t.Context(), slog.New(slog.NewTextHandler(&b, nil)), path, codes)
		return b.String()
	}
	with := told(path)
	require.Contains(t, with, "level=WARN")
	require.Contains(t, with, "technique-emr")
	require.NotContains(t, with, "technique-esd")
	without := told("")
	require.Contains(t, without, "level=INFO")
	require.NotContains(t, without, "technique-emr")
	_, err := LoadCodes(filepath.Join(t.TempDir(), "none"))
	require.ErrorContains(t, err, "reading codes file")
}
