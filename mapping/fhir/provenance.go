package fhir

import (
	"strconv"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// provenances says who said each part. A Provenance is written once and never
// changed: each revision of the report, each issue of a histology and each
// record of an event has its own. A withdrawal has one over the whole case.
func (m *mapper) provenances() {
	rep := m.rep
	source := logical("DocumentReference", rep.ReportID, "Structured report, revision "+strconv.Itoa(rep.Revision))
	revision := strconv.Itoa(rep.Revision)
	if rep.Status == report.Withdrawn {
		m.provenance("provenance/withdrawal/"+revision, func(made) bool { return true }, provenance{
			activity: m.state.Activity, author: rep.Author, attester: rep.Signer,
			recorded: rep.WrittenAt.Text(), reason: rep.StatusReason, source: source})
		return
	}
	m.provenance("provenance/report/"+revision, func(r made) bool { return r.part == partReport }, provenance{
		activity: m.state.Activity, author: rep.Author, attester: rep.Signer,
		recorded: m.issued, reason: rep.StatusReason, source: source})
	for _, i := range m.numbers {
		if l := rep.Lesions[i]; l.Histology != nil {
			m.histologyProvenance(l)
		}
	}
	for _, i := range m.eventOrder() {
		m.eventProvenance(rep.Events[i])
	}
}

// histologyProvenance names the pathologist and, as source, the report of the
// laboratory, which stays the original.
func (m *mapper) histologyProvenance(l report.Lesion) {
	h := l.Histology
	p := provenance{activity: "activity-histology", author: h.Pathologist, recorded: h.IssuedAt.Text()}
	issue := []string{"histology", string(h.Status), h.IssuedAt.Text()}
	if h.LabReport != nil && !h.LabReport.Zero() {
		p.source = logical("DiagnosticReport", *h.LabReport, "Report of the laboratory")
		issue = append(issue, h.LabReport.System, h.LabReport.Value)
	}
	part := histologyPart(l)
	// The findings also settle what the lesion is and number its specimen.
	m.provenance("provenance/"+part+"/"+m.ids.opaque(issue...), func(r made) bool {
		return r.part == part || r.part == partHistology ||
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
		func(r made) bool { return r.part == role }, p)
}

// provenance is what a part says about itself.
type provenance struct {
	activity string
	author   *report.Identifier
	attester *report.Identifier
	recorded string
	reason   string
	source   model.Reference
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
	if p.source.Identifier != nil {
		r.Entity = append(r.Entity, model.Source(p.source))
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
