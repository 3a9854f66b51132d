package cli

import (
	"encoding/json"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/mapping/term"
	artefacts "enbloc/schemas/fhir"
)

// codeItem is one code that the service can send.
type codeItem struct {
	System  string `json:"system"`
	Code    string `json:"code"`
	Display string `json:"display"`
	// Licence is what the code may be used under; "own" for our own, "site" for
	// those of the site.
	Licence string `json:"licence"`
	Use     string `json:"use"`
	// Source names the public sources that show code and meaning together.
	Source string `json:"source"`
}

// codesFlags are the flags of the command.
type codesFlags struct {
	asJSON, licensed, unmapped bool
	out, system, codes         string
	validate, validationFile   string
}

func newCodes(s Streams) *cobra.Command {
	var f codesFlags
	c := &cobra.Command{
		Use:     "codes",
		GroupID: lookUp,
		Short:   "List every code that can be sent, check or export them",
		Long: `List every code that a record can hold, with system, display, licence and the
public sources that confirm it. Nothing outside this list is ever sent.

--codes FILE adds the site's own codes from a FHIR ConceptMap, and --unmapped lists
the procedures and places in the body for which the site has none.

--validate URL asks a FHIR terminology server about each code and lists those that it
refuses or gives no verdict on; it exits with 3 when there is one. Only codes leave
this machine.

--out writes CodeSystem, ValueSets, ConceptMaps to standard codes and profiles as FHIR
R4 JSON files; enbloc package writes them as one FHIR package.`,
		Example: `  enbloc codes --system loinc
  enbloc codes --codes site-codes.json --unmapped
  enbloc codes --validate https://tx.hospital.example/r4 --system snomed`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			return s.codes(c, f)
		},
	}
	c.Flags().StringVar(&f.out, "out", "", "write CodeSystem, ValueSets, ConceptMaps and profiles into this `DIR`")
	c.Flags().BoolVar(&f.licensed, "licensed-snomed", false, "the site holds a SNOMED CT licence: show licensed codes in ConceptMaps, and validate them")
	c.Flags().StringVar(&f.system, "system", "", "only systems whose address contains this `TEXT` (snomed, loinc, enbloc …)")
	codesFlag(c, &f.codes)
	c.Flags().BoolVar(&f.unmapped, "unmapped", false, "only what the site has no code for")
	c.Flags().StringVar(&f.validate, "validate", "", "ask the terminology server at this FHIR base `URL`")
	c.Flags().StringVar(&f.validationFile, "validate-token-file", "", "`FILE` with a bearer token for the terminology server (or ENBLOC_VALIDATE_TOKEN)")
	jsonFlag(c, &f.asJSON, `{"codes":[{"system","code","display","licence","use","source"}]}, or {"unmapped":[…]}, or {"asked","accepted","refused":[…],"unanswered":[…]}`)
	return c
}

// codesFlag is the file of the site's own codes.
func codesFlag(c *cobra.Command, into *string) {
	c.Flags().StringVar(into, "codes", "", "`FILE` with a FHIR ConceptMap from our concepts to the site's own codes, sent beside ours")
}

// profilesFlag switches off what most targets just keep.
func profilesFlag(c *cobra.Command, into *bool) {
	c.Flags().BoolVar(into, "no-profiles", false, "claim no profiles in meta.profile, for a target that refuses those that it does not know")
}

func (s Streams) codes(c *cobra.Command, f codesFlags) error {
	site, err := service.LoadCodes(f.codes)
	if err != nil {
		return err
	}
	switch {
	case f.out != "":
		return s.exportTerminology(f.out, f.licensed)
	case f.unmapped:
		return s.printUnmapped(site, f.asJSON)
	}
	items := codeItems(f.system, site)
	switch {
	case f.validate != "":
		return s.validateCodes(c, f, items)
	case f.asJSON:
		return s.printJSON(map[string]any{"codes": items})
	}
	return s.codesTable(items)
}

// codeItems lists the standard codes, then our own, then the site's.
func codeItems(system string, site term.Overlay) []codeItem {
	items := []codeItem{}
	add := func(i codeItem) {
		if strings.Contains(strings.ToLower(i.System), strings.ToLower(system)) {
			items = append(items, i)
		}
	}
	for _, c := range term.Codes() {
		add(codeItem{c.System, c.Code, c.Display, string(c.Licence), c.Use, c.ConfirmedIn})
	}
	for _, c := range term.Concepts() {
		add(codeItem{term.System, c.Code, c.Display, "own", c.Group, c.Definition})
	}
	for _, c := range term.Concepts() {
		for _, l := range site.All()[c.Code] {
			use := c.Code
			if l.Organ != "" {
				use += ", " + l.Organ
			}
			add(codeItem{l.System, l.Code, l.Display, "site", use, "ConceptMap of the site, for our " + use})
		}
	}
	return items
}

func (s Streams) codesTable(items []codeItem) error {
	p := s.page()
	for group := range slices.Values(bySystem(items)) {
		var rows [][]string
		for _, i := range group {
			rows = append(rows, []string{i.Code, i.Display, i.Licence, i.Source})
		}
		p.Title(group[0].System)
		p.Table(0, []string{"Code", "Display", "Licence", "Source, or definition of our own"}, rows)
		p.Gap()
	}
	for _, notice := range []string{term.NoticeSNOMED, term.NoticeLOINC, term.NoticeUCUM} {
		p.Text(0, notice)
		p.Gap()
	}
	return writing(p.Err())
}

// bySystem groups the items by system, in order of first appearance.
func bySystem(items []codeItem) [][]codeItem {
	at := map[string]int{}
	var out [][]codeItem
	for _, i := range items {
		if _, ok := at[i.System]; !ok {
			at[i.System] = len(out)
			out = append(out, nil)
		}
		out[at[i.System]] = append(out[at[i.System]], i)
	}
	return out
}

// unmappedItem is a concept for which the site has no code.
type unmappedItem struct {
	Code    string   `json:"code"`
	Display string   `json:"display"`
	Group   string   `json:"group"`
	Organs  []string `json:"organs"` // for which alone it has none; empty for all
}

func (s Streams) printUnmapped(site term.Overlay, asJSON bool) error {
	items := []unmappedItem{}
	var rows [][]string
	for _, g := range site.Unmapped() {
		items = append(items, unmappedItem{g.Concept.Code, g.Concept.Display, g.Concept.Group, append([]string{}, g.Organs...)})
		organs := strings.Join(g.Organs, ", ")
		if organs == "" {
			organs = "all"
		}
		rows = append(rows, []string{g.Concept.Group, g.Concept.Code, g.Concept.Display, organs})
	}
	if asJSON {
		return s.printJSON(map[string]any{"unmapped": items})
	}
	p := s.page()
	if len(rows) == 0 {
		p.Text(0, "Every procedure and place in the body has a code of the site.")
		return writing(p.Err())
	}
	p.Title("Procedures and places without a code of the site")
	p.Table(0, []string{"Group", "Our concept", "Display", "Organs"}, rows)
	p.Text(0, "They go out with our code and standard ones. Add them to the ConceptMap and name it by --codes.")
	return writing(p.Err())
}

// exportTerminology writes each definition to a file named by its type and id.
func (s Streams) exportTerminology(dir string, licensed bool) error {
	var files []file
	for _, a := range artefacts.All(licensed) {
		files = append(files, file{a.Type + "-" + a.ID + ".json", json.RawMessage(a.JSON)})
	}
	return s.writeFiles(dir, files)
}
