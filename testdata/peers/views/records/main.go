// Command records writes what the views are judged by: the resources of invented
// cases as a bulk export has them, one NDJSON file for each type, and the tables
// that enbloc writes of the same cases.
//
//	go run ./testdata/peers/views/records DIR [CASES]
//
// Ids and references are those of a server that takes ids of the client. The
// definitions that the views need stand beside the resources.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"enbloc/mapping"
	"enbloc/mapping/graph"
	"enbloc/mapping/sample"
	"enbloc/mapping/table"
	artefacts "enbloc/schemas/fhir"
	"enbloc/server/export"
)

func main() {
	log.SetFlags(0)
	n := 300
	if len(os.Args) < 2 {
		log.Fatal("usage: records DIR [CASES]")
	}
	if len(os.Args) > 2 {
		var err error
		if n, err = strconv.Atoi(os.Args[2]); err != nil || n < 1 {
			log.Fatal("records: CASES is a number, from 1")
		}
	}
	if err := run(os.Args[1], n); err != nil {
		log.Fatal("records: ", err)
	}
}

func run(dir string, n int) error {
	files := map[string]*bytes.Buffer{}
	add := func(resourceType string, body []byte) {
		if files[resourceType] == nil {
			files[resourceType] = &bytes.Buffer{}
		}
		files[resourceType].Write(append(body, '\n'))
	}
	flat, err := cases(n, add)
	if err != nil {
		return err
	}
	for _, a := range artefacts.All(false) {
		if a.Type == "CodeSystem" {
			add(a.Type, a.JSON)
		}
	}
	into := filepath.Join(dir, "ndjson")
	if err := os.MkdirAll(into, 0o755); err != nil {
		return err
	}
	for resourceType, b := range files {
		if err := os.WriteFile(filepath.Join(into, resourceType+".ndjson"), b.Bytes(), 0o644); err != nil {
			return err
		}
	}
	summary, err := export.Run(context.Background(), export.Options{Source: flat, Dir: filepath.Join(dir, "tables"),
		Formats: []export.Format{export.Parquet}, Scope: "records"})
	if err != nil {
		return err
	}
	fmt.Printf("%d cases as resources and as tables\n", summary.Cases)
	return nil
}

// cases maps every case both ways.
func cases(n int, add func(string, []byte)) (*listed, error) {
	pipeline := mapping.New([]byte("HTEST records key, no secret"))
	out := &listed{}
	shared := map[string]bool{}
	for i, c := range sample.Cover(n) {
		merged := c.Merged()
		g, err := pipeline.Map(merged, 1+len(c.Histology)+len(c.Events))
		if err != nil {
			return nil, fmt.Errorf("mapping case %d: %w", i+1, err)
		}
		names := renamed(g)
		for _, r := range g.Resources {
			if shared[r.Key] {
				continue // several cases have it
			}
			shared[r.Key] = r.Shared
			body, err := stored(r, names)
			if err != nil {
				return nil, fmt.Errorf("storing case %d: %w", i+1, err)
			}
			add(r.Type, body)
		}
		out.cases = append(out.cases, table.Case{Key: g.CaseKey, Sequence: 1, Report: merged, Results: pipeline.Assess(merged)})
	}
	return out, nil
}

func renamed(g graph.Graph) *strings.Replacer {
	var pairs []string
	for _, r := range g.Resources {
		pairs = append(pairs, `"`+r.Reference()+`"`, `"`+r.Type+"/"+r.Key+`"`)
	}
	return strings.NewReplacer(pairs...)
}

// stored is a resource as a server gives it back.
func stored(r graph.Resource, names *strings.Replacer) ([]byte, error) {
	rest, ok := strings.CutPrefix(string(r.Body), "{")
	if !ok {
		return nil, errors.New("a resource is no object")
	}
	body := []byte(`{"id":"` + r.Key + `",` + names.Replace(rest))
	if !json.Valid(body) {
		return nil, errors.New("a resource is no JSON")
	}
	return body, nil
}

// listed is a source of cases that are there already.
type listed struct{ cases []table.Case }

// Page implements export.Source; the cursor is the number of cases given.
func (l *listed) Page(_ context.Context, after string, limit int) ([]table.Case, string, error) {
	given, _ := strconv.Atoi(after) // none at the start
	end := min(given+limit, len(l.cases))
	return l.cases[given:end], strconv.Itoa(end), nil
}
