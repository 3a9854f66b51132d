// Command definitions writes our own CodeSystem, ValueSets and ConceptMaps, one file each, into a folder:
//
//	go run ./testdata/peers/definitions DIR
//
// It exists so that HL7's validator knows them. It promises all that the program serves, byte for byte.
package main

import (
	"encoding/json"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"slices"

	"enbloc/mapping/term"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 2 {
		log.Fatal("usage: definitions DIR")
	}
	if err := write(os.Args[1]); err != nil {
		log.Fatal("definitions: ", err)
	}
}

func write(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	// All maps, as a site with a SNOMED licence has them: the validator shall see the widest case.
	all := slices.Concat([]json.RawMessage{term.CodeSystem()}, term.ValueSets(), term.ConceptMaps(true))
	for _, resource := range all {
		var head struct{ ResourceType, ID string }
		if err := json.Unmarshal(resource, &head); err != nil {
			return fmt.Errorf("reading a definition: %w", err)
		}
		file := filepath.Join(dir, head.ResourceType+"-"+head.ID+".json")
		if err := os.WriteFile(file, resource, 0o644); err != nil {
			return fmt.Errorf("writing a definition: %w", err)
		}
	}
	return nil
}
