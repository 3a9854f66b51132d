// Command samples writes the Bundles of invented cases, one file each, into a folder:
//
//	go run ./testdata/peers/samples DIR N
//
// It exists so that validators see more than the examples. It promises the N cases of sample.Cover, which from 300 on
// use every value of every enumeration and every optional part both there and left out, each case with all its parts.
// Every second case is mapped as at a site with a SNOMED CT licence.
package main

import (
	"fmt"
	"log"
	"os"
	"path/filepath"
	"strconv"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/sample"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 3 {
		log.Fatal("usage: samples DIR N")
	}
	n, err := strconv.Atoi(os.Args[2])
	if err != nil || n < 1 {
		log.Fatal("samples: N is a number of cases, from 1")
	}
	if err := write(os.Args[1], n); err != nil {
		log.Fatal("samples: ", err)
	}
}

func write(dir string, n int) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	pipeline := mapping.New([]byte("HTEST samples key, no secret"))
	for i, c := range sample.Cover(n) {
		pipeline.FHIR.Licensed = i%2 == 1
		g, err := pipeline.Map(c.Merged(), 1+len(c.Histology)+len(c.Events))
		if err != nil {
			return fmt.Errorf("mapping case %d: %w", i+1, err)
		}
		file := filepath.Join(dir, fmt.Sprintf("cover-%03d.json", i+1))
		if err := os.WriteFile(file, fhir.Bundle(g), 0o644); err != nil {
			return fmt.Errorf("writing case %d: %w", i+1, err)
		}
	}
	return nil
}
