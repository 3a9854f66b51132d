package main_test

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// levels is the import order: a package may import packages of the levels
// above its own, and of its own tree, and nothing else of this module. The
// longest prefix counts.
var levels = [][]string{
	{"mapping/report", "mapping/graph", "mapping/assess/stats", "server/fault"},
	{"schemas", "mapping/term", "mapping/check", "mapping/assess", "mapping/sample"},
	{"mapping/whatif", "mapping/fhir", "mapping/table", "mapping/importer", "schemas/fhir"},
	{"mapping", "mapping/indicator"},
	{"server/store", "server/target", "server/practice"},
	{"server/delivery"},
	{"server/intake", "server/preflight"},
	{"server"},
	{"testdata"},
	{"cmd"},
}

// blind are packages that must not see clinical types: they handle bytes and
// keys, so that a change of the document format never reaches them.
var blind = map[string][]string{
	"server/store":    {"server/fault"},
	"server/target":   {"server/fault"},
	"server/practice": {"server/fault"},
	"server/delivery": {"server/fault", "server/store", "server/target", "mapping/graph"},
}

// owners are the only packages that may import a heavy dependency directly, so
// that each can be exchanged in one place.
var owners = map[string]string{
	"github.com/gin-gonic/gin":                 "server",
	"github.com/samply/golang-fhir-models":     "mapping/fhir",
	"github.com/santhosh-tekuri/jsonschema/v5": "schemas",
	"github.com/riverqueue/river":              "server/delivery",
	"github.com/jackc/pgx":                     "server/store",
	"modernc.org/sqlite":                       "server/store",
	"github.com/spf13/cobra":                   "cmd",
	"golang.org/x/oauth2":                      "server/target",
	"github.com/golang-jwt/jwt":                "server/target",
	"gonum.org/v1/gonum":                       "mapping/assess/stats",
	"github.com/parquet-go/parquet-go":         "mapping/table",
	"gonum.org/v1/plot":                        "mapping/indicator",
}

// contracts are imported by everyone, so they import nobody.
var contracts = []string{"mapping/report", "mapping/graph", "server/fault"}

// impure are standard packages through which a clock, a network, a disk or
// chance could come into the transformation, which must give the same bytes
// for the same documents.
var impure = []string{"context", "crypto/rand", "database/sql", "log", "log/slog", "math/rand", "math/rand/v2", "net", "net/http", "os", "os/exec"}

// tools are no part of the transformation: the generator of test documents
// draws by a seed, and the program that breaks rules on purpose runs the tests.
var tools = []string{"mapping/sample", "mapping/assess/internal/mutate"}

type goPackage struct {
	ImportPath string
	Imports    []string
}

// listPackages asks the go tool for the packages of this module, with what
// their non-test files import.
func listPackages(t *testing.T) []goPackage {
	t.Helper()
	command := exec.CommandContext(t.Context(), "go", "list", "-json=ImportPath,Imports", "enbloc/...")
	out, err := command.Output()
	var failed *exec.ExitError
	if errors.As(err, &failed) {
		require.NoError(t, err, string(failed.Stderr))
	}
	require.NoError(t, err)
	var all []goPackage
	for decoder := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := decoder.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			require.NoError(t, err)
		}
		all = append(all, p)
	}
}

// inside reports whether path is the folder or lies below it.
func inside(path, folder string) bool {
	return path == folder || strings.HasPrefix(path, folder+"/")
}

// place finds the level and the tree of a package of ours; level -1 when it has none.
func place(path string) (level int, tree string) {
	level = -1
	for i, trees := range levels {
		for _, candidate := range trees {
			if inside(path, candidate) && len(candidate) > len(tree) {
				level, tree = i, candidate
			}
		}
	}
	return level, tree
}

// ours returns the path inside the module, and whether it is of the module.
func ours(importPath string) (string, bool) { return strings.CutPrefix(importPath, "enbloc/") }

func TestImportsRunOneWay(t *testing.T) {
	t.Parallel()
	packages := listPackages(t)
	require.NotEmpty(t, packages)
	for _, p := range packages {
		path, own := ours(p.ImportPath)
		require.True(t, own, p.ImportPath)
		level, tree := place(path)
		require.GreaterOrEqual(t, level, 0, "%s has no place in the import order: give it one in levels", path)
		for _, imported := range p.Imports {
			other, own := ours(imported)
			if !own || inside(other, tree) {
				continue
			}
			above, _ := place(other)
			require.Less(t, above, level, "%s must not import %s", path, other)
			if allowed, ok := blind[tree]; ok {
				require.True(t, slices.ContainsFunc(allowed, func(a string) bool { return inside(other, a) }),
					"%s must not know %s: it handles bytes and keys only", path, other)
			}
		}
	}
}

func TestHeavyDependenciesHaveOneOwner(t *testing.T) {
	t.Parallel()
	found := map[string]bool{}
	for _, p := range listPackages(t) {
		path, _ := ours(p.ImportPath)
		for _, imported := range p.Imports {
			require.False(t, inside(imported, "github.com/stretchr/testify") && !strings.HasSuffix(path, "test"),
				"%s imports a test library", path)
			for dependency, owner := range owners {
				if !inside(imported, dependency) {
					continue
				}
				_, tree := place(path)
				require.Equal(t, owner, tree, "%s must not import %s: it belongs to %s", path, imported, owner)
				found[dependency] = true
			}
		}
	}
	for dependency := range owners {
		require.True(t, found[dependency], "nothing imports %s any more: drop it from owners and go.mod", dependency)
	}
}

func TestTheTransformationIsPure(t *testing.T) {
	t.Parallel()
	for _, p := range listPackages(t) {
		path, _ := ours(p.ImportPath)
		if !inside(path, "mapping") && path != "schemas" || slices.Contains(tools, path) {
			continue
		}
		for _, imported := range p.Imports {
			require.NotContains(t, impure, imported, "%s must not import %s", path, imported)
		}
	}
}

func TestContractsImportTheStandardLibraryOnly(t *testing.T) {
	t.Parallel()
	for _, p := range listPackages(t) {
		path, _ := ours(p.ImportPath)
		if !slices.Contains(contracts, path) {
			continue
		}
		for _, imported := range p.Imports {
			// A path of the standard library has no dot in its first element.
			first, _, _ := strings.Cut(imported, "/")
			require.False(t, strings.Contains(first, ".") || first == "enbloc", "%s must not import %s", path, imported)
		}
	}
}
