// Package conformance passes Bundles to judges that others wrote. It promises that a missing folder, an empty one or
// a missing schema fails: a check that didn't run never looks like one that passed.
package conformance

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"enbloc/conformance/controls"
	"enbloc/conformance/judge"

	"github.com/stretchr/testify/require"
)

// judges are all of this module's, ready to ask.
func judges(t *testing.T) map[string]judge.Judge {
	t.Helper()
	path := os.Getenv("ENBLOC_FHIR_SCHEMA")
	require.NotEmpty(t, path, "ENBLOC_FHIR_SCHEMA must name the official fhir.schema.json; run.sh fetches it and sets this")
	schema, err := judge.Schema(path)
	require.NoError(t, err)
	protobuf, err := judge.Protobuf()
	require.NoError(t, err)
	return map[string]judge.Judge{
		controls.Protobuf: protobuf,
		controls.Schema:   schema,
		controls.Hygiene:  judge.Hygiene,
	}
}

// TestControls proves that each judge catches what the table says, and nothing in the right Bundle.
func TestControls(t *testing.T) {
	all := judges(t)
	for name, judge := range all {
		require.Empty(t, judge(controls.Good), "%s finds a fault in the right Bundle", name)
	}
	for _, fault := range controls.Faults {
		t.Run(fault.Name, func(t *testing.T) {
			bundle, err := fault.Bundle()
			require.NoError(t, err)
			for name, judge := range all {
				found := judge(bundle)
				require.Equal(t, slices.Contains(fault.Caught, name), len(found) > 0, "%s says: %q", name, found)
			}
		})
	}
}

// TestBundles passes every Bundle below the folder ENBLOC_BUNDLES to every judge.
func TestBundles(t *testing.T) {
	all := judges(t)
	for _, file := range bundles(t) {
		t.Run(filepath.Base(file), func(t *testing.T) {
			content, err := os.ReadFile(file)
			require.NoError(t, err)
			var kind struct{ ResourceType string }
			require.NoError(t, json.Unmarshal(content, &kind))
			require.Equal(t, "Bundle", kind.ResourceType, "%s isn't a Bundle", file)
			faults := map[string][]string{}
			for name, judge := range all {
				if found := judge(content); len(found) > 0 {
					faults[name] = found
				}
			}
			require.Empty(t, faults, "%s has faults", file)
		})
	}
}

// bundles are the .json files below ENBLOC_BUNDLES; there must be some.
func bundles(t *testing.T) []string {
	t.Helper()
	root := os.Getenv("ENBLOC_BUNDLES")
	require.NotEmpty(t, root, "ENBLOC_BUNDLES must name a folder of Bundles")
	var files []string
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && strings.HasSuffix(path, ".json") {
			files = append(files, path)
		}
		return err
	})
	require.NoError(t, err)
	require.NotEmpty(t, files, "no .json file below %s", root)
	t.Logf("%d Bundles below %s", len(files), root)
	return files
}
