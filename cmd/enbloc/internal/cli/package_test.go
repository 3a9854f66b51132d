package cli_test

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/mapping/term"
	artefacts "enbloc/schemas/fhir"
	"enbloc/testdata/cases"
)

// unpack reads a package into file contents by name, in the order of the archive.
func unpack(t *testing.T, raw []byte) (names []string, files map[string][]byte) {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(raw))
	require.NoError(t, err)
	files = map[string][]byte{}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return names, files
		}
		require.NoError(t, err)
		body, err := io.ReadAll(r)
		require.NoError(t, err)
		require.NotContains(t, files, h.Name)
		names, files[h.Name] = append(names, h.Name), body
	}
}

// The package has what FHIR's package specification asks for
// (hl7.org/fhir/R4/packages.html): all below package/, a manifest, an index
// that names every resource, examples in a folder of their own.
func TestPackage(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var first []byte
	for _, name := range []string{"a.tgz", "b.tgz"} {
		r := run(t, "", "package", "--out", filepath.Join(dir, name))
		require.Equal(t, cli.Good, r.code, r.err)
		raw, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.True(t, first == nil || bytes.Equal(first, raw), "the same bytes every time")
		first = raw
	}
	names, files := unpack(t, first)
	require.Equal(t, "package/package.json", names[0])
	var manifest struct {
		Name, Version string
		FHIRVersions  []string `json:"fhirVersions"`
		Dependencies  map[string]string
	}
	require.NoError(t, json.Unmarshal(files["package/package.json"], &manifest))
	require.Equal(t, artefacts.PackageName, manifest.Name)
	require.Equal(t, term.Version, manifest.Version)
	require.Equal(t, []string{"4.0.1"}, manifest.FHIRVersions)
	require.Contains(t, manifest.Dependencies, "hl7.fhir.r4.core")

	var index struct {
		Files []struct{ Filename, ResourceType, ID, URL, Version, Kind, Type string }
	}
	require.NoError(t, json.Unmarshal(files["package/.index.json"], &index))
	require.Len(t, index.Files, len(artefacts.All(false)))
	for _, f := range index.Files {
		var resource struct{ ResourceType, ID, URL, Version, Kind, Type string }
		require.NoError(t, json.Unmarshal(files["package/"+f.Filename], &resource), f.Filename)
		require.Equal(t, f.ResourceType, resource.ResourceType)
		require.Equal(t, f.ID, resource.ID)
		require.Equal(t, f.URL, resource.URL)
		require.Equal(t, f.Version, resource.Version)
		require.Equal(t, f.Kind, resource.Kind)
		require.Equal(t, f.Type, resource.Type)
	}
	examples := 0
	for name, body := range files {
		require.True(t, strings.HasPrefix(name, "package/") && !strings.Contains(name, ".."), name)
		if strings.HasPrefix(name, "package/example/") {
			require.Contains(t, string(body), "HTEST", name)
			examples++
		}
	}
	require.Equal(t, len(cases.All()), examples)
	views := artefacts.Views()
	for _, v := range views {
		require.Equal(t, string(v.Body), string(files["package/other/views/"+v.Name]), v.Name)
	}
	require.Len(t, files, len(index.Files)+examples+len(views)+3)
	for _, owner := range []string{"SNOMED International", "Regenstrief", "UCUM"} {
		require.Contains(t, string(files["package/other/NOTICE.txt"]), owner)
	}
}

func TestPackageNeedsAFile(t *testing.T) {
	t.Parallel()
	require.Equal(t, cli.Usage, run(t, "", "package").code)
	require.Equal(t, cli.Usage, run(t, "", "package", "--out", filepath.Join(t.TempDir(), "none", "x.tgz")).code)
}
