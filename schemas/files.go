package schemas

import (
	"embed"
	"io/fs"
	"path"
	"strings"
)

// Base is what every schema's $id begins with.
const Base = "https://enbloc.example/schemas/"

const (
	folder  = "report/v1" // where the files lie in the source tree
	version = "report/1"  // how their $id calls that folder
)

//go:embed report/v1/*.schema.json
var embedded embed.FS

// File is one schema as it is served.
type File struct {
	Path string // below /schemas/, such as "report/1/lesion.schema.json"
	Body []byte // the JSON text; not to be changed
}

// ID is the schema's $id.
func (f File) ID() string { return Base + f.Path }

// Files lists every schema by path. A relative $ref of one resolves to the
// path of another.
func Files() []File {
	names, err := fs.Glob(embedded, folder+"/*.schema.json")
	if err != nil {
		panic("listing embedded schemas: " + err.Error()) // the pattern is constant
	}
	files := make([]File, 0, len(names))
	for _, name := range names {
		body, err := embedded.ReadFile(name)
		if err != nil {
			panic("reading embedded schema: " + err.Error())
		}
		files = append(files, File{Path: path.Join(version, path.Base(name)), Body: body})
	}
	return files
}

// Lookup returns the schema served under a path below /schemas/.
func Lookup(servedPath string) (File, bool) {
	name, found := strings.CutPrefix(servedPath, version+"/")
	if !found || strings.Contains(name, "/") {
		return File{}, false
	}
	body, err := embedded.ReadFile(folder + "/" + name)
	if err != nil {
		return File{}, false
	}
	return File{Path: servedPath, Body: body}, true
}
