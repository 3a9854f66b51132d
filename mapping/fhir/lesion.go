package fhir

import (
	"strconv"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// lesions maps every lesion, by number.
func (m *mapper) lesions() {
	for _, i := range m.numbers {
		l, at := m.rep.Lesions[i], "/lesions/"+strconv.Itoa(i)
		m.site(l)
		m.specimens(l)
		m.examination(l, at)
		if l.Resection != nil {
			m.resection(l, at)
		}
		if l.Histology != nil {
			m.histology(l, at)
		}
		m.condition(l)
	}
}

// place is where a lesion lies: its site, or its organ when no site is known.
func (m *mapper) place(l report.Lesion) model.CodeableConcept {
	e := l.Examination
	if report.Known(e.Site) {
		return m.own("site", string(e.Site))
	}
	return m.own("organ", string(e.Organ))
}

// site maps the lesion as a place in the body: it keeps the lesion's identity
// and is what facts about it focus on.
func (m *mapper) site(l report.Lesion) {
	e := l.Examination
	location := m.place(l)
	b := &model.BodyStructure{Active: model.Bool(true), Location: &location, Patient: m.subject,
		Description: model.Str("Lesion " + strconv.Itoa(l.Number) + ": " + strings.Join(placeWords(e), ", "))}
	for _, v := range []value{coded(m, "third", e.Third), coded(m, "wall", e.Wall), coded(m, "mucosa", e.Mucosa)} {
		if v.concept != nil {
			b.LocationQualifier = append(b.LocationQualifier, *v.concept)
		}
	}
	m.emit(partReport, lesionRole(l)+"/site", b, model.Codes{}, nil)
}

// placeWords says in words where a lesion lies.
func placeWords(e report.Examination) []string {
	words := []string{strings.ToLower(label("organ", e.Organ))}
	for _, w := range []string{label("site", e.Site), label("third", e.Third), label("wall", e.Wall), label("mucosa", e.Mucosa)} {
		if w != "" {
			words = append(words, strings.ToLower(w))
		}
	}
	return words
}

// condition maps the lesion as a problem: provisional until the pathologist
// has said what it is, then confirmed as that, or refuted.
func (m *mapper) condition(l report.Lesion) {
	class, verification := classOf(l), "provisional"
	part := partReport
	if h := l.Histology; h != nil && h.Status != report.HistologyPreliminary && len(h.Types) > 0 {
		verification = "confirmed"
		if h.Types[0] == report.TypeNoNeoplasia {
			verification = "refuted"
		}
	}
	code := m.diagnosis(l, class)
	verified := m.standard("hl7.condition-ver-status."+verification, "")
	c := &model.Condition{
		VerificationStatus: &verified, Code: &code, Subject: m.subject, Encounter: m.encounter,
		Category: []model.CodeableConcept{m.standard("hl7.condition-category.encounter-diagnosis", "")},
		BodySite: []model.CodeableConcept{m.place(l)},
		Recorder: m.signer, RecordedDate: model.Str(m.rep.WrittenAt.Text()),
	}
	if verification != "refuted" {
		clinical := m.standard("hl7.condition-clinical.active", "")
		c.ClinicalStatus = &clinical
	}
	c.Evidence, c.Stage = m.evidence(l)
	m.emit(part, lesionRole(l)+"/condition", c, model.Codes{}, nil)
}

// evidence points to the panels about the lesion, and to the T category as
// its stage.
func (m *mapper) evidence(l report.Lesion) ([]model.ConditionEvidence, []model.ConditionStage) {
	var panels []string
	for _, p := range []string{"/examination", "/histology"} {
		if role := lesionRole(l) + p; m.has(role) {
			panels = append(panels, m.ref(role))
		}
	}
	var evidence []model.ConditionEvidence
	if len(panels) > 0 {
		evidence = []model.ConditionEvidence{{Detail: model.Refs(panels...)}}
	}
	role := lesionRole(l) + "/histology/pt-category"
	if l.Histology == nil || !report.Known(l.Histology.PT) || !m.has(role) {
		return evidence, nil
	}
	summary, kind := m.own("pt", string(l.Histology.PT)), m.own("observation", "pt-category")
	return evidence, []model.ConditionStage{{Summary: &summary, Type: &kind, Assessment: model.Refs(m.ref(role))}}
}

// has reports whether the resource of a role has been made.
func (m *mapper) has(role string) bool {
	for _, r := range m.made {
		if r.Role == role {
			return true
		}
	}
	return false
}
