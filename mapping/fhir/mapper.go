package fhir

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

// Map turns a report and the rules' answers into the graph of the case. It
// fails when a value has no concept in the code tables or when the graph would
// not be valid; its errors hold no content of the report.
func Map(rep report.Report, results []assess.Result, opt Options) (graph.Graph, error) {
	if err := opt.check(); err != nil {
		return graph.Graph{}, fmt.Errorf("checking the options of the mapping: %w", err)
	}
	state, err := statusesOf("report", string(rep.Status))
	if err != nil {
		return graph.Graph{}, fmt.Errorf("mapping a report: %w", err)
	}
	m := newMapper(rep, results, opt, state)
	m.facts()
	m.keepUnchanged()
	m.reports()
	m.provenances()
	if m.err != nil {
		return graph.Graph{}, fmt.Errorf("mapping a report: %w", m.err)
	}
	g := m.graph()
	if err := validate(g, m.opt.Site); err != nil {
		return graph.Graph{}, fmt.Errorf("checking the mapped graph: %w", err)
	}
	return g, nil
}

// facts maps everything but what sums it up.
func (m *mapper) facts() {
	m.devices()
	m.lesions()
	m.session()
	m.before()
	m.events()
	m.derived()
	m.images()
	m.plan()
}

// mapper carries one mapping through its stages. The first error stays.
type mapper struct {
	rep     report.Report
	results []assess.Result
	opt     Options
	state   StatusRow
	ids     *identity
	made    []made
	where   registry
	err     error

	meta        *model.Meta
	subject     model.Reference
	encounter   *model.Reference
	endoscopist *model.Reference
	signer      *model.Reference
	order       []model.Reference
	issued      string
	numbers     []int           // indices of rep.Lesions by lesion number
	retracted   map[string]bool // parts that are void by themselves
	wider       map[string]bool // answers that rest on more than specimen and histology
	open        map[string]bool // answers that are preliminary in a signed report
}

// made is a resource that has been written, with the part of the case that it
// came with.
type made struct {
	graph.Resource
	part string
}

// partReport is the part of the endoscopist; histology and events have their own.
const partReport = "report"

// newMapper works out once what every resource needs: who, whose, when.
func newMapper(rep report.Report, results []assess.Result, opt Options, state StatusRow) *mapper {
	m := &mapper{rep: rep, results: results, opt: opt, state: state, ids: newIdentity(opt, rep),
		retracted: map[string]bool{}, wider: map[string]bool{}, open: map[string]bool{}}
	m.meta = m.newMeta(coding(graph.CaseKeySystem, m.ids.caseKey, ""))
	m.subject = model.Ref(conditional("Patient", rep.Patient.Identifier))
	if rep.Encounter != nil && !rep.Encounter.Zero() {
		r := model.Ref(conditional("Encounter", *rep.Encounter))
		m.encounter = &r
	}
	m.signer = practitioner(rep.Signer)
	if m.signer == nil {
		m.signer = practitioner(rep.Author)
	}
	m.endoscopist = m.signer
	for _, o := range rep.Operators {
		if o.Role == report.OperatorLead {
			m.endoscopist = practitioner(&o.Identifier)
			break
		}
	}
	if rep.Order != nil && !rep.Order.Zero() {
		m.order = []model.Reference{logical("ServiceRequest", *rep.Order, "")}
	}
	m.issued = rep.WrittenAt.Text()
	if !rep.SignedAt.IsZero() {
		m.issued = rep.SignedAt.Text()
	}
	for i := range rep.Lesions {
		m.numbers = append(m.numbers, i)
	}
	slices.SortStableFunc(m.numbers, func(a, b int) int {
		return cmp.Compare(rep.Lesions[a].Number, rep.Lesions[b].Number)
	})
	return m
}

// newMeta labels test data; every other resource is free of labels.
func (m *mapper) newMeta(tags ...model.Coding) *model.Meta {
	meta := &model.Meta{Tag: tags}
	if m.rep.TestData {
		if c, ok := m.coding("hl7.v3-ActReason.HTEST"); ok {
			meta.Security = []model.Coding{c}
		}
	}
	return meta
}

// fail keeps the first error; later ones follow from it.
func (m *mapper) fail(err error) {
	if m.err == nil {
		m.err = err
	}
}

// ref is how other resources refer to the resource of a role.
func (m *mapper) ref(role string) string { return "urn:uuid:" + m.ids.of(role).uuid }

// emit gives a resource its identity, encodes it and puts it into the graph.
func (m *mapper) emit(part, role string, resource any, codes model.Codes, extras model.Extras) {
	if m.err != nil {
		return
	}
	id := m.ids.of(role)
	system, key := graph.RoleKeySystem, id.key
	resourceType, searchBy := m.label(resource, model.Identifier{System: &system, Value: &key}, m.metaFor(role))
	body, err := model.Encode(resource, codes, extras)
	if err == nil && (m.rep.Status == report.Withdrawn || m.retracted[part]) && resourceType != "Provenance" && !isShared(role) {
		body, err = voidAs(resourceType, body, m.withdrawal())
	}
	if err != nil {
		m.fail(fmt.Errorf("making %s: %w", role, err))
		return
	}
	m.made = append(m.made, made{part: part, Resource: graph.Resource{
		Role: role, Key: id.key, Type: resourceType, UUID: id.uuid, Body: body, SearchBy: searchBy,
		Shared: isShared(role), Immutable: resourceType == "Provenance"}})
}

// label writes meta and identifier. R4 gives Provenance no identifier at all
// and AdverseEvent no search by it, so both carry their key as a tag.
func (m *mapper) label(resource any, id model.Identifier, meta *model.Meta) (string, graph.SearchBy) {
	ids := []model.Identifier{id}
	switch r := resource.(type) {
	case *model.Observation:
		r.Meta, r.Identifier = meta, ids
		return "Observation", graph.ByIdentifier
	case *model.Procedure:
		r.Meta, r.Identifier = meta, ids
		return "Procedure", graph.ByIdentifier
	case *model.Condition:
		r.Meta, r.Identifier = meta, ids
		return "Condition", graph.ByIdentifier
	case *model.BodyStructure:
		r.Meta, r.Identifier = meta, ids
		return "BodyStructure", graph.ByIdentifier
	case *model.Specimen:
		r.Meta, r.Identifier = meta, ids
		return "Specimen", graph.ByIdentifier
	case *model.Media:
		r.Meta, r.Identifier = meta, ids
		return "Media", graph.ByIdentifier
	case *model.ServiceRequest:
		r.Meta, r.Identifier = meta, ids
		return "ServiceRequest", graph.ByIdentifier
	case *model.MedicationAdministration:
		r.Meta, r.Identifier = meta, ids
		return "MedicationAdministration", graph.ByIdentifier
	case *model.DiagnosticReport:
		r.Meta, r.Identifier = meta, append(ids, r.Identifier...)
		return "DiagnosticReport", graph.ByIdentifier
	case *model.Device:
		r.Identifier = append(ids, r.Identifier...)
		if r.Meta = m.newMeta(); len(r.Meta.Security) == 0 {
			r.Meta = nil
		}
		return "Device", graph.ByIdentifier
	case *model.AdverseEvent:
		r.Meta, r.Identifier = m.keyTag(*id.Value), &id
		r.Meta.Profile = meta.Profile
		return "AdverseEvent", graph.ByTag
	case *model.Provenance:
		r.Meta = m.keyTag(*id.Value)
		return "Provenance", graph.ByTag
	}
	m.fail(fmt.Errorf("a %T can not be labelled", resource))
	return "", ""
}

// keyTag is the meta of a type that is found by its role key as a tag.
func (m *mapper) keyTag(key string) *model.Meta {
	return m.newMeta(coding(graph.CaseKeySystem, m.ids.caseKey, ""), coding(graph.RoleKeySystem, key, ""))
}

// ranks is the order of types in which a graph can be written with the fewest
// forward references: what others point to first, reports late, Provenances last.
var ranks = map[string]int{"Device": 0, "BodyStructure": 1, "Condition": 2, "Specimen": 3, "Procedure": 4,
	"MedicationAdministration": 5, "Observation": 6, "Media": 7, "AdverseEvent": 8, "ServiceRequest": 9,
	"DiagnosticReport": 10, "Provenance": 11}

// graph puts the resources into an order in which they can be written.
func (m *mapper) graph() graph.Graph {
	slices.SortStableFunc(m.made, func(a, b made) int { return cmp.Compare(ranks[a.Type], ranks[b.Type]) })
	g := graph.Graph{CaseKey: m.ids.caseKey, Sequence: m.opt.Sequence, Resources: make([]graph.Resource, len(m.made)), Born: m.born()}
	pointers := m.pointers()
	for i, r := range m.made {
		g.Resources[i] = r.Resource
		g.Resources[i].Pointers = pointers[r.Role]
	}
	return g
}

// Roles of the case. A role is a path that never changes between revisions.
const (
	roleSession  = "session"
	roleSoftware = sharedPrefix + "software/"
)

func lesionRole(l report.Lesion) string { return "lesion/" + strconv.Itoa(l.Number) }

// lesionNumbered returns the index of a lesion by its number, or -1.
func (m *mapper) lesionNumbered(number int) int {
	return slices.IndexFunc(m.rep.Lesions, func(l report.Lesion) bool { return l.Number == number })
}

// performedIn is the Procedure in which facts about a lesion were found: its
// resection, or the session when it was seen and left.
func (m *mapper) performedIn(l report.Lesion) string {
	if l.Resection == nil {
		return m.ref(roleSession)
	}
	return m.ref(lesionRole(l) + "/resection")
}
