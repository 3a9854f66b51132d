package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/mapping/term"
	artefacts "enbloc/schemas/fhir"
	"enbloc/testdata/cases"
)

func newPackage(s Streams) *cobra.Command {
	var out string
	var licensed bool
	c := &cobra.Command{
		Use:     "package --out FILE.tgz",
		GroupID: lookUp,
		Short:   "Write our FHIR definitions as one FHIR package",
		Long: `Write CodeSystem, ValueSets, ConceptMaps and profiles of what enbloc sends as one FHIR
R4 package, with the Bundle of every example case: to be loaded into a validator or a
FHIR server. The same version of enbloc always writes the same bytes.

In package/other/views are SQL-on-FHIR ViewDefinitions and SQL that lay records flat,
into the tables of enbloc export (but delivery, which is no FHIR).

` + term.NoticeSNOMED + `

` + term.NoticeLOINC + `

` + term.NoticeUCUM,
		Example: `  enbloc package --out enbloc.resection.tgz`,
		Args:    none,
		RunE: func(_ *cobra.Command, _ []string) error {
			if out == "" {
				return usagef("package needs --out FILE.tgz\nSee: enbloc package --help")
			}
			return s.writePackage(out, licensed)
		},
	}
	c.Flags().StringVar(&out, "out", "", "`FILE` to write (required)")
	c.Flags().BoolVar(&licensed, "licensed-snomed", false, "name licensed SNOMED CT codes in the ConceptMaps: the site holds a licence")
	return c
}

func (s Streams) writePackage(out string, licensed bool) error {
	examples, err := packageExamples()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := artefacts.WritePackage(&b, licensed, examples); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Clean(out), b.Bytes(), 0o644); err != nil { //nolint:gosec // for others to read: no patient data
		return usagef("writing file: %w", err)
	}
	p := s.page()
	p.Text(0, fmt.Sprintf("Wrote %s#%s with %d definitions and %d examples to %s",
		artefacts.PackageName, term.Version, len(artefacts.All(licensed)), len(examples), out))
	return writing(p.Err())
}

// packageExamples is the Bundle of every example case as it stands at its end.
func packageExamples() ([]artefacts.Example, error) {
	var out []artefacts.Example
	for _, c := range cases.All() {
		bundles, err := stages(c)
		if err != nil {
			return nil, err
		}
		if len(bundles) == 0 {
			continue
		}
		id := "example-" + c.Name
		last := strings.Replace(string(bundles[len(bundles)-1].json), `{"resourceType":"Bundle",`, `{"resourceType":"Bundle","id":"`+id+`",`, 1)
		out = append(out, artefacts.Example{Name: "Bundle-" + id, JSON: json.RawMessage(last)})
	}
	return out, nil
}
