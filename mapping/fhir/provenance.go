package fhir

import (
	"strconv"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// provenances says who said each part, and what the rules were asked about. A
// Provenance is written once and never changed: each revision of the report,
// each issue of a histology and each record of an event has its own, and so has
// each state of the case that the rules were asked about. A withdrawal has one
// over the whole case.
//
// What a Provenance covers follows from its own document alone, so that it is
// the same whatever came before.
func (m *mapper) provenances() {
	rep := m.rep
	revision := strconv.Itoa(rep.Revision)
	if rep.Status == report.Withdrawn {
		m.provenance("provenance/withdrawal/"+revision, func(made) bool { return true }, provenance{
			activity: m.state.Activity, author: rep.Author, attester: rep.Signer,
			recorded: rep.WrittenAt.Text(), reason: rep.StatusReason, sources: m.reportSource()})
		return
	}
	m.provenance("provenance/report/"+revision, m.saidByReport, provenance{
		activity: m.state.Activity, author: rep.Author, attester: rep.Signer,
		recorded: m.issued, reason: rep.StatusReason, sources: m.reportSource()})
	for _, i := range m.numbers {
		if l := rep.Lesions[i]; l.Histology != nil {
			m.histologyProvenance(l)
		}
	}
	for _, i := range m.eventOrder() {
		m.eventProvenance(rep.Events[i])
	}
	m.assessmentProvenance()
}

func (m *mapper) reportSource() []model.Reference {
	return []model.Reference{logical("DocumentReference", m.rep.ReportID, "Structured report, revision "+strconv.Itoa(m.rep.Revision))}
}

// saidByReport: the specimen of a report that names none is known by the
// histology only.
func (m *mapper) saidByReport(r made) bool {
	for _, l := range m.rep.Lesions {
		if r.Role == lesionRole(l)+"/specimen" {
			return l.Specimen != nil && l.Specimen.Retrieved != report.No
		}
	}
	return r.part == partReport && !isDerived(r)
}

// isDerived reports whether a resource is what a rule answered. Who answered is
// the software, and what was asked about is the whole case.
func isDerived(r made) bool { return strings.Contains(r.Role, "/derived/") }

// assessmentProvenance covers what the rules answered about this state of the
// case: it is named by everything that the state consists of.
func (m *mapper) assessmentProvenance() {
	state := []string{"assessment", strconv.Itoa(m.rep.Revision)}
	for _, e := range m.opt.Earlier {
		state = append(state, strconv.Itoa(e.Report.Revision))
	}
	sources := m.reportSource()
	for _, i := range m.numbers {
		h := m.rep.Lesions[i].Histology
		if h == nil {
			continue
		}
		state = append(state, histologyPart(m.rep.Lesions[i]), string(h.Status), h.IssuedAt.Text())
		if h.LabReport != nil && !h.LabReport.Zero() {
			sources = append(sources, logical("DiagnosticReport", *h.LabReport, "Report of the laboratory"))
			state = append(state, h.LabReport.System, h.LabReport.Value)
		}
	}
	for _, i := range m.eventOrder() {
		e := m.rep.Events[i]
		state = append(state, e.ID, e.RecordedAt.Text(), strconv.FormatBool(e.Retracted))
	}
	at, _ := m.lastAddition()
	m.provenance("provenance/assessment/"+m.ids.opaque(state...), isDerived,
		provenance{activity: "activity-assessment", recorded: at, sources: sources})
}

// histologyProvenance names the pathologist and, as source, the report of the
// laboratory, which stays the original.
func (m *mapper) histologyProvenance(l report.Lesion) {
	h := l.Histology
	p := provenance{activity: "activity-histology", author: h.Pathologist, recorded: h.IssuedAt.Text()}
	issue := []string{"histology", string(h.Status), h.IssuedAt.Text()}
	if h.LabReport != nil && !h.LabReport.Zero() {
		p.sources = []model.Reference{logical("DiagnosticReport", *h.LabReport, "Report of the laboratory")}
		issue = append(issue, h.LabReport.System, h.LabReport.Value)
	}
	part := histologyPart(l)
	// The findings also settle what the lesion is and number its specimen.
	m.provenance("provenance/"+part+"/"+m.ids.opaque(issue...), func(r made) bool {
		return r.part == part && !isDerived(r) || r.part == partHistology ||
			r.Role == lesionRole(l)+"/condition" || r.Role == lesionRole(l)+"/specimen"
	}, p)
}

// eventProvenance covers one record of an event; a retraction has its own.
func (m *mapper) eventProvenance(e report.Event) {
	role := m.eventRole(e)
	p := provenance{activity: "activity-event", recorded: e.RecordedAt.Text()}
	if e.Retracted {
		p.activity = "activity-event-retraction"
	}
	m.provenance("provenance/"+role+"/"+m.ids.opaque("event", e.RecordedAt.Text(), strconv.FormatBool(e.Retracted)),
		func(r made) bool { return r.part == role && !isDerived(r) }, p)
}

// provenance is what a part says about itself.
type provenance struct {
	activity string
	author   *report.Identifier
	attester *report.Identifier
	recorded string
	reason   string
	sources  []model.Reference
}

// provenance writes who said the resources that it covers. Shared Devices are
// nobody's part.
func (m *mapper) provenance(role string, covers func(made) bool, p provenance) {
	r := &model.Provenance{Recorded: p.recorded}
	for _, one := range m.made {
		if one.Type != "Provenance" && !one.Shared && covers(one) {
			r.Target = append(r.Target, model.Ref(one.Reference()))
		}
	}
	if len(r.Target) == 0 {
		return
	}
	activity := m.own("administrative", p.activity)
	r.Activity = &activity
	if reason := clean(p.reason); reason != "" {
		r.Reason = []model.CodeableConcept{model.Text(reason)}
	}
	r.Agent = append(m.agent("author", practitioner(p.author)), m.agent("attester", practitioner(p.attester))...)
	r.Agent = append(r.Agent, m.agent("assembler", reference(m.ref(m.softwareRole())))...)
	for _, source := range p.sources {
		r.Entity = append(r.Entity, model.Source(source))
	}
	m.emit(strings.TrimPrefix(role, "provenance/"), role, r, model.Codes{}, nil)
}

func (m *mapper) agent(kind string, who *model.Reference) []model.ProvenanceAgent {
	if who == nil {
		return nil
	}
	c := m.standard("hl7.provenance-participant-type."+kind, "")
	return []model.ProvenanceAgent{{Type: &c, Who: *who}}
}
