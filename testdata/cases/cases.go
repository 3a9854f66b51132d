// Package cases holds the invented example cases: what a hospital sends, in
// the order in which it sends it. Demo, tests and benchmarks all play the same
// ones. Each folder is one case, README.md says what each is there to show,
// and nobody in them exists.
//
// [All] promises cases sorted by folder name and documents sorted by file
// name, which is the order of sending.
package cases

import (
	"embed"
	"fmt"
	"path"
	"strings"
)

// The files of want/ lie one folder deeper and stay out: they are compared on
// disk by the golden test.
//
//go:embed README.md */*.json
var files embed.FS

// Kind is what sort of document a file holds.
type Kind string

// Kinds of document, each with its own endpoint.
const (
	Report    Kind = "report"
	Histology Kind = "histology"
	Events    Kind = "events"
)

// Document is one document as it is sent.
type Document struct {
	File string // "02-histology.json"
	Kind Kind
	JSON []byte
}

// Case is one example case.
type Case struct {
	Name      string // the folder, "01-gastric-esd-ecura-a"
	Point     string // what the case shows clinically, one sentence of README.md
	Documents []Document
}

// All returns every case. It panics when an embedded file breaks the naming,
// which the package's own test would have shown.
func All() []Case {
	points := points()
	folders, err := files.ReadDir(".")
	if err != nil {
		panic(err)
	}
	var all []Case
	for _, folder := range folders {
		if folder.IsDir() {
			name := folder.Name()
			all = append(all, Case{Name: name, Point: points[name], Documents: documents(name)})
		}
	}
	return all
}

// documents reads the documents of one case in the order of sending.
func documents(name string) []Document {
	entries, err := files.ReadDir(name)
	if err != nil {
		panic(err)
	}
	var out []Document
	for _, entry := range entries {
		raw, err := files.ReadFile(path.Join(name, entry.Name()))
		if err != nil {
			panic(err)
		}
		out = append(out, Document{File: entry.Name(), Kind: kindOf(entry.Name()), JSON: raw})
	}
	return out
}

// kindOf reads the kind off a name such as 02-histology.json.
func kindOf(file string) Kind {
	_, rest, _ := strings.Cut(file, "-")
	switch kind := Kind(strings.TrimSuffix(rest, ".json")); kind {
	case Report, Histology, Events:
		return kind
	}
	panic(fmt.Sprintf("naming of example file %q: want NN-report.json, NN-histology.json or NN-events.json", file))
}

// points reads the list "- `folder`: point" of README.md, so that the sentence
// stands in one place.
func points() map[string]string {
	readme, err := files.ReadFile("README.md")
	if err != nil {
		panic(err)
	}
	out := map[string]string{}
	for line := range strings.Lines(string(readme)) {
		if rest, ok := strings.CutPrefix(strings.TrimSpace(line), "- `"); ok {
			name, point, _ := strings.Cut(rest, "`: ")
			out[name] = point
		}
	}
	return out
}
