package dress

import (
	"encoding/json"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"github.com/google/uuid"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// compositionStatus is the status of a document by that of its report: R4 has
// fewer for a Composition. The pairs are those of the HL7 Europe laboratory
// report guide (http://hl7.eu/fhir/laboratory/, "Status management").
var compositionStatus = map[string]string{
	"registered": "preliminary", "partial": "preliminary", "preliminary": "preliminary", "final": "final",
	"amended": "amended", "corrected": "amended", "appended": "amended", "entered-in-error": "entered-in-error",
}

// head is what a Composition takes over from the report that leads it.
type head struct {
	Status             string
	Code               model.CodeableConcept
	Category           []model.CodeableConcept
	Subject, Encounter *model.Reference
	Issued             string
	Performer          []model.Reference
	ResultsInterpreter []model.Reference
	Text               *struct{ Div string }
	Meta               *model.Meta
	Identifier         []model.Identifier
}

func headOf(o *model.Object) (h head, err error) {
	raw, err := o.JSON()
	if err != nil {
		return head{}, err
	}
	return h, json.Unmarshal(raw, &h)
}

// composition is the first entry of a document. It keeps its identifier over
// all versions (R4: the Bundle's identifier is that of the version).
func composition(g graph.Graph, lead *model.Object, at string) (json.RawMessage, error) {
	h, err := headOf(lead)
	if err != nil {
		return nil, err
	}
	system, key := graph.RoleKeySystem, documentKey(g, "composition")
	c := &model.Composition{
		Meta: &model.Meta{Security: h.Meta.Security, Tag: h.Meta.Tag}, Identifier: &model.Identifier{System: &system, Value: &key},
		Type: h.Code, Category: h.Category, Subject: h.Subject, Encounter: h.Encounter, Date: h.Issued,
		Author: h.Performer, Title: "Endoscopic resection report",
	}
	if len(c.Author) == 0 {
		c.Author = softwareOf(g)
	}
	if compositionStatus[h.Status] != "preliminary" && len(h.ResultsInterpreter) > 0 {
		c.Attester = []model.CompositionAttester{{Mode: "legal", Time: h.Issued, Party: &h.ResultsInterpreter[0]}}
	}
	house, err := houseOf(g)
	if err != nil {
		return nil, err
	}
	c.Custodian = organisation(house)
	if c.Section, err = sections(g, h, at); err != nil {
		return nil, err
	}
	return model.Encode(c, model.Status(compositionStatus[h.Status]), nil)
}

// softwareOf is the author of a document whose report names nobody.
func softwareOf(g graph.Graph) []model.Reference {
	for _, r := range g.Resources {
		if strings.HasPrefix(r.Role, "shared/software/") {
			return model.Refs(r.Reference())
		}
	}
	return nil
}

func organisation(house *model.Object) *model.Reference {
	if house == nil {
		return nil
	}
	kind := "Organization"
	id := &model.Identifier{}
	for name, field := range map[string]**string{"system": &id.System, "value": &id.Value} {
		if text, ok := house.Get(name).(string); ok {
			*field = &text
		}
	}
	return &model.Reference{Type: &kind, Identifier: id}
}

// sections are the report of the endoscopist and, once there is one, the
// summary of histology, each with its own words. Together they reach every
// resource of the document: what no report leads to is listed in the first.
func sections(g graph.Graph, h head, at string) ([]model.CompositionSection, error) {
	first := model.CompositionSection{Title: "Endoscopy", Text: generated(h), Entry: model.Refs(at)}
	starts := []string{at}
	var second []model.CompositionSection
	pathology, place, err := report(g, "report/pathology")
	if err != nil {
		return nil, err
	}
	if pathology != nil {
		p, err := headOf(pathology)
		if err != nil {
			return nil, err
		}
		second = []model.CompositionSection{{Title: "Histology", Text: generated(p), Entry: model.Refs(place)}}
		starts = append(starts, place)
	}
	for _, left := range unreached(g, starts) {
		first.Entry = append(first.Entry, model.Ref(left))
	}
	return append([]model.CompositionSection{first}, second...), nil
}

func generated(h head) *model.Narrative {
	if h.Text == nil {
		return nil
	}
	return model.Generated(h.Text.Div)
}

var neighbour = regexp.MustCompile(`"reference":"(urn:uuid:[0-9a-f-]+)"`)

// unreached lists, in the order of the graph, the fewest resources that have to
// be named so that every one is reached by references. Procedures go first, as
// most leads from them.
func unreached(g graph.Graph, starts []string) []string {
	links := map[string][]string{}
	for _, r := range g.Resources {
		for _, m := range neighbour.FindAllSubmatch(r.Body, -1) {
			links[r.Reference()] = append(links[r.Reference()], string(m[1]))
		}
	}
	seen := map[string]bool{}
	visit := func(from string) {
		for open := []string{from}; len(open) > 0; open = open[1:] {
			if !seen[open[0]] {
				seen[open[0]] = true
				open = append(open, links[open[0]]...)
			}
		}
	}
	for _, s := range starts {
		visit(s)
	}
	var named []string
	ordered := slices.Clone(g.Resources)
	slices.SortStableFunc(ordered, func(a, b graph.Resource) int { return leads(b) - leads(a) })
	for _, r := range ordered {
		if r.Type != "Provenance" && !seen[r.Reference()] {
			named = append(named, r.Reference())
			visit(r.Reference())
		}
	}
	return named
}

// leads ranks what others hang on: an event names its condition, a panel its
// findings.
func leads(r graph.Resource) int {
	switch {
	case r.Type == "Procedure":
		return 2
	case r.Type == "AdverseEvent" || r.Type == "MedicationAdministration" || r.Type == "ServiceRequest":
		return 1
	}
	return 0
}

// unescape undoes what a search for an identifier needs: percent-encoding, then
// the backslash before \ $ , and | (http://hl7.org/fhir/R4/search.html#escaping).
func unescape(raw []byte) string {
	text, err := url.PathUnescape(string(raw))
	if err != nil {
		return string(raw)
	}
	var b strings.Builder
	escaped := false
	for _, c := range text {
		if c == '\\' && !escaped {
			escaped = true
			continue
		}
		escaped = false
		b.WriteRune(c)
	}
	return b.String()
}

var uuidSpace = uuid.NewSHA1(uuid.NameSpaceURL, []byte(graph.RoleKeySystem))

func uuidOf(key string) string { return uuid.NewSHA1(uuidSpace, []byte(key)).String() }
