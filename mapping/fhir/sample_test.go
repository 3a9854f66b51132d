package fhir_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/sample"
)

// Cases that together use every value of every enumeration, and have every
// optional part both present and absent, map to graphs that pass the checks.
func TestMapCover(t *testing.T) {
	t.Parallel()
	book := assess.DefaultBook()
	for i, c := range sample.Cover(sample.CoverAll) {
		rep := c.Merged()
		opt := options()
		opt.Licensed = i%2 == 1
		g, err := fhir.Map(rep, book.Assess(rep), opt)
		require.NoError(t, err, "case %d", i)
		if *bundles != "" {
			file := filepath.Join(*bundles, fmt.Sprintf("cover-%03d.json", i))
			require.NoError(t, os.WriteFile(file, fhir.Bundle(g), 0o600))
		}
	}
}
