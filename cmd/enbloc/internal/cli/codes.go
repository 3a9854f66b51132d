package cli

import (
	"encoding/json"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/mapping/term"
)

// codeItem is one code that the service can send.
type codeItem struct {
	System  string `json:"system"`
	Code    string `json:"code"`
	Display string `json:"display"`
	// Licence is what the code may be used under; "own" for our own.
	Licence string `json:"licence"`
	Use     string `json:"use"`
	// Source names the public sources that show code and meaning together.
	Source string `json:"source"`
}

func newCodes(s Streams) *cobra.Command {
	var asJSON bool
	var out, system string
	var licensed bool
	c := &cobra.Command{
		Use:     "codes",
		GroupID: lookUp,
		Short:   "List every code that can be sent, or export them as FHIR",
		Long: `List every code that a record can hold, with system, display, licence and the
public sources that confirm it. Nothing outside this list is ever sent.

--out writes our own CodeSystem, its ValueSets and its ConceptMaps to standard codes
as FHIR R4 JSON files, for the hospital's terminology server.`,
		Args: none,
		RunE: func(_ *cobra.Command, _ []string) error {
			if out != "" {
				return s.exportTerminology(out, licensed)
			}
			items := codeItems(system)
			if asJSON {
				return s.printJSON(map[string]any{"codes": items})
			}
			return s.codesTable(items)
		},
	}
	c.Flags().StringVar(&out, "out", "", "write CodeSystem, ValueSets and ConceptMaps into this `DIR`")
	c.Flags().BoolVar(&licensed, "licensed-snomed", false, "show licensed SNOMED CT codes in the ConceptMaps: the site holds a licence")
	c.Flags().StringVar(&system, "system", "", "only systems whose address contains this `TEXT` (snomed, loinc, enbloc …)")
	jsonFlag(c, &asJSON, `{"codes":[{"system","code","display","licence","use","source"}]}`)
	return c
}

// codeItems lists the standard codes, then our own.
func codeItems(system string) []codeItem {
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
	return items
}

func (s Streams) codesTable(items []codeItem) error {
	p := s.page()
	last := ""
	var rows [][]string
	flush := func() {
		if len(rows) > 0 {
			p.Title(last)
			p.Table(0, []string{"Code", "Display", "Licence", "Source, or definition of our own"}, rows)
			p.Gap()
		}
		rows = nil
	}
	for _, i := range bySystem(items) {
		if i.System != last {
			flush()
			last = i.System
		}
		rows = append(rows, []string{i.Code, i.Display, i.Licence, i.Source})
	}
	flush()
	p.Text(0, term.NoticeSNOMED)
	p.Gap()
	p.Text(0, term.NoticeLOINC)
	return writing(p.Err())
}

// bySystem groups the items by system, in order of first appearance.
func bySystem(items []codeItem) []codeItem {
	var order []string
	groups := map[string][]codeItem{}
	for _, i := range items {
		if groups[i.System] == nil {
			order = append(order, i.System)
		}
		groups[i.System] = append(groups[i.System], i)
	}
	var out []codeItem
	for _, system := range order {
		out = append(out, groups[system]...)
	}
	return out
}

// exportTerminology writes each resource to a file named by its type and id.
func (s Streams) exportTerminology(dir string, licensed bool) error {
	resources := append([]json.RawMessage{term.CodeSystem()}, term.ValueSets()...)
	resources = append(resources, term.ConceptMaps(licensed)...)
	var files []file
	for _, raw := range resources {
		var r struct{ ResourceType, ID string }
		if err := json.Unmarshal(raw, &r); err != nil {
			return err
		}
		files = append(files, file{r.ResourceType + "-" + r.ID + ".json", raw})
	}
	return s.writeFiles(dir, files)
}
