// Command samples writes the Bundles of invented cases, one file each, into a folder:
//
//	go run ./testdata/peers/samples DIR N
//
// It exists so that validators see more than the examples. It promises the N cases of sample.Cover, which from 300 on
// use every value of every enumeration and every optional part both there and left out, each case with all its parts.
// Every second case is mapped as at a site with a SNOMED CT licence. Of every tenth case there is also what each dressing
// makes of it, and what a registry gets of it under both ways of treating dates.
package main

import (
	"fmt"
	"log"
	"os"
	"path/filepath"
	"strconv"

	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/pseudo"
	"enbloc/mapping/sample"
	"enbloc/mapping/term"
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
		name := fmt.Sprintf("cover-%03d", i+1)
		if err := os.WriteFile(filepath.Join(dir, name+".json"), fhir.Bundle(g), 0o644); err != nil {
			return fmt.Errorf("writing case %d: %w", i+1, err)
		}
		if i%10 == 0 {
			if err := writeDressed(dir, name, g); err != nil {
				return fmt.Errorf("dressing case %d: %w", i+1, err)
			}
			if err := writePseudonymised(dir, name, g); err != nil {
				return fmt.Errorf("pseudonymising case %d: %w", i+1, err)
			}
		}
	}
	return nil
}

// writePseudonymised writes what a registry gets.
func writePseudonymised(dir, name string, g graph.Graph) error {
	for _, dates := range []pseudo.Dates{pseudo.Shift, pseudo.Month} {
		r, err := pseudo.New(pseudo.Settings{Name: "samples", Secret: []byte("HTEST secret of a registry, no secret"), Dates: dates})
		if err != nil {
			return err
		}
		out, err := r.Apply(g)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name+"-registry-"+string(dates)+".json"), fhir.Bundle(out), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// writeDressed writes the transaction of each dressing but base, or its document.
func writeDressed(dir, name string, g graph.Graph) error {
	for _, d := range dress.All() {
		if d.Name == dress.Base {
			continue
		}
		dressed, err := d.Apply(g, term.Overlay{})
		if err != nil {
			return err
		}
		bundle := []byte(dressed.Document)
		if !d.Document {
			bundle = fhir.Bundle(dressed)
		}
		if err := os.WriteFile(filepath.Join(dir, name+"-"+d.Name+".json"), bundle, 0o644); err != nil {
			return err
		}
	}
	return nil
}
