package fhir

import (
	"slices"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// Roles of the two reports: one per owner.
const (
	roleEndoscopyReport = "report/endoscopy"
	rolePathologyReport = "report/pathology"
)

// reports maps the endoscopy report and, once there is histology, the summary
// of it. They come last, so that a case half written is not visible as a report.
func (m *mapper) reports() {
	m.endoscopyReport()
	m.pathologyReport()
}

// resultsOf are the panels and derived results of a report: facts are reached
// through their panel.
func (m *mapper) resultsOf(belongs func(made) bool) []model.Reference {
	var out []model.Reference
	for _, r := range m.made {
		if r.Type != "Observation" || !belongs(r) {
			continue
		}
		panel := r.Role == roleBefore || strings.HasSuffix(r.Role, "/examination") ||
			strings.HasSuffix(r.Role, "/resection-facts") || strings.HasSuffix(r.Role, "/histology")
		if panel || strings.Contains(r.Role, "/derived/") {
			out = append(out, model.Ref(r.Reference()))
		}
	}
	return out
}

// endoscopyReport maps the report of the endoscopist. Suspicion of cancer goes
// into conclusionCode only until there is histology: the element can not say
// how sure it is.
func (m *mapper) endoscopyReport() {
	s := m.rep.Session
	text := Narrative(m.rep, m.results)
	r := &model.DiagnosticReport{
		Text: model.Generated(text), Identifier: []model.Identifier{*identifier(m.rep.ReportID)}, BasedOn: m.order,
		Category: []model.CodeableConcept{m.standard("cat.loinc.endoscopy", "Endoscopy")},
		Code:     m.standard(reportCode(s.Kind), "Endoscopy report"), Subject: &m.subject, Encounter: m.encounter,
		EffectivePeriod: model.NewPeriod(s.Start.Text(), s.End.Text()), Issued: model.Str(m.issued),
		Performer: listOf(m.endoscopist), ResultsInterpreter: listOf(m.signer),
		Result: m.resultsOf(func(r made) bool {
			// A report is no further than its results, so a preliminary one waits.
			return r.part == partReport || strings.HasPrefix(r.part, "histology/") && !m.inPathology(r) && !m.open[r.Role]
		}),
		Conclusion: model.Str(m.conclusion()),
	}
	for _, i := range m.numbers {
		l := m.rep.Lesions[i]
		if m.hasSpecimen(l) {
			r.Specimen = append(r.Specimen, model.Ref(m.ref(lesionRole(l)+"/specimen")))
		}
		if l.Examination.SuspectMalignant == report.Yes && l.Histology == nil {
			r.ConclusionCode = append(r.ConclusionCode, m.with(m.ownText("condition", string(classCarcinoma),
				"Suspected: "+label("condition", classCarcinoma)), "find.suspected_malignancy"))
		}
	}
	m.media(r)
	last, grew := m.lastAddition()
	if grew {
		r.Issued = model.Str(last)
	}
	m.emit(partReport, roleEndoscopyReport, r, model.Status(appendedTo(m.state.DiagnosticReport, grew)), nil)
}

// lastAddition is when histology or an event was last added to the report
// after it was issued; grew is false when none was. A preliminary histology
// adds to the report too.
func (m *mapper) lastAddition() (last string, grew bool) {
	at := m.rep.WrittenAt
	if !m.rep.SignedAt.IsZero() {
		at = m.rep.SignedAt
	}
	later := func(t report.Time) {
		if t.At().After(at.At()) {
			at, grew = t, true
		}
	}
	for _, l := range m.rep.Lesions {
		if l.Histology != nil {
			later(l.Histology.IssuedAt)
		}
	}
	for _, e := range m.rep.Events {
		later(e.RecordedAt)
	}
	return at.Text(), grew
}

// media lists the pictures in the order of the report, the first being the one
// that the endoscopist put first.
func (m *mapper) media(r *model.DiagnosticReport) {
	done := map[string]bool{}
	for _, i := range m.rep.Images {
		if role := m.imageRole(i); !done[role] {
			done[role] = true
			r.Media = append(r.Media, model.DiagnosticReportMedia{Comment: model.Str(label("view", i.View)), Link: model.Ref(m.ref(role))})
		}
	}
}

// reportCode is the LOINC code of the report. LOINC has no confirmed code for
// the upper tract alone; 18751-8 is the general one and widely used for it.
func reportCode(k report.SessionKind) string {
	if k == report.Colonoscopy || k == report.Sigmoidoscopy {
		return "doc.colonoscopy_study"
	}
	return "doc.endoscopy_study"
}

// pathologyReport is our summary of the laboratory's findings; the
// laboratory's own report stays the original and is named in the Provenance.
func (m *mapper) pathologyReport() {
	var found []report.Lesion
	complete := true
	for _, i := range m.numbers {
		switch l := m.rep.Lesions[i]; {
		case l.Histology != nil:
			found = append(found, l)
		case m.hasSpecimen(l):
			complete = false
		}
	}
	if len(found) == 0 {
		return
	}
	first := found[0]
	r := &model.DiagnosticReport{
		Text: model.Generated(m.histologyNarrative(found)), BasedOn: m.order,
		Category: []model.CodeableConcept{m.standard("hl7.v2-0074.SP", ""), m.standard("cat.loinc.pathology", "")},
		Code:     m.standard("doc.path.synoptic", "Histology summary"), Subject: &m.subject, Encounter: m.encounter,
		EffectiveDateTime: model.Str(m.collected(first)), ResultsInterpreter: listOf(m.signer),
		Result:     m.resultsOf(func(r made) bool { return m.inPathology(r) }),
		Conclusion: model.Str(m.histologyConclusion(found)),
	}
	states, last := []string{}, first.Histology.IssuedAt
	for _, l := range found {
		h := l.Histology
		status, err := histologyStatus(h.Status)
		if err != nil {
			m.fail(err)
		}
		states = append(states, status)
		if h.IssuedAt.At().After(last.At()) {
			last = h.IssuedAt
		}
		if who := practitioner(h.Pathologist); who != nil && !slices.ContainsFunc(r.Performer,
			func(p model.Reference) bool { return *p.Reference == *who.Reference }) {
			r.Performer = append(r.Performer, *who)
		}
		r.Specimen = append(r.Specimen, model.Ref(m.ref(lesionRole(l)+"/specimen")))
	}
	r.Issued = model.Str(last.Text())
	m.emit(partHistology, rolePathologyReport, r, model.Status(pathologyStatus(least(states...), complete)), nil)
}

// inPathology reports whether a result belongs to the summary of histology:
// what the pathologist found, and what rests on nothing but that and how the
// specimen was taken. A risk that also rests on the patient's drugs or the site
// of the lesion is the endoscopist's, although the size comes from the slide.
func (m *mapper) inPathology(r made) bool {
	return strings.HasPrefix(r.part, "histology/") && !m.wider[r.Role]
}

// partHistology is the part of what sums up the histology of all lesions.
const partHistology = "histology"

// pathologyStatus: a summary that still waits for specimens is partial.
func pathologyStatus(status string, complete bool) string {
	if !complete && status != preliminary {
		return "partial"
	}
	return status
}
