package fhir

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"enbloc/mapping/term"
)

// PackageName is the name of the FHIR package.
const PackageName = "enbloc.resection"

// Example is a resource that shows the profiles in use.
type Example struct {
	Name string // of the file, without folder and ".json"
	JSON json.RawMessage
}

// WritePackage writes the FHIR package: a gzipped tar of the artefacts, their
// index, the package's manifest, the notices of the terminologies, and the
// examples in a folder of their own. The same input gives the same bytes on
// every day and machine (hl7.org/fhir/R4/packages.html names the layout).
func WritePackage(w io.Writer, licensed bool, examples []Example) error {
	files, err := packageFiles(licensed, examples)
	if err != nil {
		return err
	}
	// No time, no name and no system in the header: they would differ by day.
	z, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return fmt.Errorf("opening the package: %w", err)
	}
	archive := tar.NewWriter(z)
	for _, f := range files {
		header := &tar.Header{Name: f.name, Mode: 0o644, Size: int64(len(f.body)), Format: tar.FormatUSTAR, ModTime: time.Unix(0, 0)}
		if err := archive.WriteHeader(header); err != nil {
			return fmt.Errorf("writing the head of %s: %w", f.name, err)
		}
		if _, err := archive.Write(f.body); err != nil {
			return fmt.Errorf("writing %s: %w", f.name, err)
		}
	}
	if err := archive.Close(); err != nil {
		return fmt.Errorf("closing the archive: %w", err)
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("closing the package: %w", err)
	}
	return nil
}

type packageFile struct {
	name string
	body []byte
}

// packageFiles are the files in the order in which they are written: what a
// reader needs first comes first.
func packageFiles(licensed bool, examples []Example) ([]packageFile, error) {
	manifest, err := pretty(newManifest())
	if err != nil {
		return nil, err
	}
	index := packageIndex{Version: 2}
	var resources []packageFile
	for _, a := range All(licensed) {
		name := a.Type + "-" + a.ID + ".json"
		body, err := pretty(a.JSON)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		index.Files = append(index.Files, indexEntry{name, a.Type, a.ID, a.URL, a.Version, a.Kind, a.Of})
		resources = append(resources, packageFile{"package/" + name, body})
	}
	listed, err := pretty(index)
	if err != nil {
		return nil, err
	}
	files := append([]packageFile{{"package/package.json", manifest}, {"package/.index.json", listed},
		{"package/other/NOTICE.txt", []byte(Notices())}}, resources...)
	for _, v := range Views() {
		files = append(files, packageFile{"package/other/views/" + v.Name, v.Body})
	}
	examples = slices.SortedFunc(slices.Values(examples), func(a, b Example) int { return strings.Compare(a.Name, b.Name) })
	for _, e := range examples {
		body, err := pretty(e.JSON)
		if err != nil {
			return nil, fmt.Errorf("example %s: %w", e.Name, err)
		}
		files = append(files, packageFile{"package/example/" + e.Name + ".json", body})
	}
	return files, nil
}

// manifest is package.json, as FHIR's package specification has it.
type manifest struct {
	Name         string            `json:"name"`
	Version      string            `json:"version"`
	Type         string            `json:"type"`
	Canonical    string            `json:"canonical"`
	Title        string            `json:"title"`
	Description  string            `json:"description"`
	FHIRVersions []string          `json:"fhirVersions"`
	Dependencies map[string]string `json:"dependencies"`
	Author       string            `json:"author"`
}

func newManifest() manifest {
	return manifest{Name: PackageName, Version: term.Version, Type: "Conformance", Canonical: term.Base,
		Title:        "Endoscopic resection",
		Description:  "Profiles, terminology and examples of coded records of endoscopic resections (ESD, EMR)",
		FHIRVersions: []string{"4.0.1"}, Dependencies: map[string]string{"hl7.fhir.r4.core": "4.0.1"}, Author: "enbloc"}
}

type packageIndex struct {
	Version int          `json:"index-version"`
	Files   []indexEntry `json:"files"`
}

type indexEntry struct {
	Filename     string `json:"filename"`
	ResourceType string `json:"resourceType"`
	ID           string `json:"id"`
	URL          string `json:"url"`
	Version      string `json:"version"`
	Kind         string `json:"kind,omitempty"`
	Type         string `json:"type,omitempty"`
}

// Notices are the texts that go with the codes of others.
func Notices() string {
	return term.NoticeSNOMED + "\n\n" + term.NoticeLOINC + "\n\n" + term.NoticeUCUM + "\n"
}

func pretty(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("writing JSON: %w", err)
	}
	return b.Bytes(), nil
}
