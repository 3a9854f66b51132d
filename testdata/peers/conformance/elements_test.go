package conformance

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestElements makes the practice receiver's table of elements again from the official schema.
func TestElements(t *testing.T) {
	schema := os.Getenv("ENBLOC_FHIR_SCHEMA")
	require.NotEmpty(t, schema, "ENBLOC_FHIR_SCHEMA must name the official fhir.schema.json; run.sh fetches it and sets this")
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	command := exec.CommandContext(t.Context(), "go", "run", "./server/practice/internal/elements", schema)
	command.Dir = root
	command.Stderr = os.Stderr
	made, err := command.Output()
	require.NoError(t, err)
	committed, err := os.ReadFile(filepath.Join(root, "server", "practice", "r4.txt"))
	require.NoError(t, err)
	require.Equal(t, string(committed), string(made), "make it anew: see server/practice/internal/elements")
}
