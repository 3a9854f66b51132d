package fhir

import (
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/assess"
	"enbloc/mapping/report"
)

// conclusion is the endoscopy report in a few sentences of plain text.
func (m *mapper) conclusion() string {
	var out []string
	for _, i := range m.numbers {
		out = append(out, lesionSentence(m.rep.Lesions[i]))
	}
	for _, i := range m.eventOrder() {
		if e := m.rep.Events[i]; !e.Retracted {
			out = append(out, "Adverse event: "+lowerFirst(label("event-kind", e.Kind))+", "+lowerFirst(said("event-timing", e.Timing))+".")
		}
	}
	return strings.Join(nonEmpty(out...), " ")
}

// lesionSentence says of one lesion what it was, what was done, and where its
// histology stands.
func lesionSentence(l report.Lesion) string {
	e := l.Examination
	seen := "Lesion " + strconv.Itoa(l.Number) + " (" + strings.Join(nonEmpty(strings.Join(placeWords(e), ", "),
		saidAll("paris", e.Paris, " + "), size(e.SizeLongMm, e.SizeShortMm, "mm")), "; ") + ")"
	if l.Resection == nil {
		return seen + ": seen and left."
	}
	r := l.Resection
	text := seen + ": " + lowerFirst(label("technique", r.Technique))
	if r.Pieces.Known() {
		text += ", pieces: " + r.Pieces.Text()
	}
	if c := said("completion", r.Completion); c != "" {
		text += ", " + lowerFirst(c)
	}
	if l.Histology == nil {
		return text + ". Histology pending."
	}
	return text + ". Histology: see the summary."
}

// histologyConclusion is the summary of histology in a few sentences.
func (m *mapper) histologyConclusion(found []report.Lesion) string {
	var out []string
	for _, l := range found {
		h := l.Histology
		out = append(out, "Lesion "+strconv.Itoa(l.Number)+": "+strings.Join(nonEmpty(saidAll("histology-type", h.Types, ", "),
			said("pt", h.PT), measure(h.DepthUm, "µm"), said("horizontal-margin", h.HorizontalMargin),
			said("vertical-margin", h.VerticalMargin), said("lymphatic-invasion", h.LymphaticInvasion),
			said("venous-invasion", h.VenousInvasion), said("lymphovascular-invasion", h.Lymphovascular)), ", ")+".")
		for _, r := range m.results {
			if r.Lesion == l.Number && strings.Contains(r.Rule, ".curability.") {
				out = append(out, r.Title+": "+r.Text()+" ("+confirmedWords[r.Confirmed]+").")
			}
		}
	}
	return clean(strings.Join(out, " "))
}

// histologyNarrative is the text of the summary of histology.
func (m *mapper) histologyNarrative(found []report.Lesion) string {
	told := newAnswers(slices.DeleteFunc(slices.Clone(m.results), func(r assess.Result) bool {
		if !ofPathology(r) || r.Event != "" {
			return true
		}
		part, _ := m.partOfResult(r)
		return !strings.HasPrefix(part, partHistology+"/")
	}))
	return page(func(x *xhtml) {
		x.heading("Histology summary")
		if m.rep.TestData {
			x.paragraph("Test data: no real person.")
		}
		for _, l := range found {
			x.subheading("Lesion " + strconv.Itoa(l.Number) + ": " + lesionTitle(l.Examination))
			of := told.about(func(r answer) bool { return r.Lesion == l.Number })
			told.summary(x, of)
			rows := histologyRows(*l.Histology)
			if lab := l.Histology.LabReport; lab != nil {
				rows = append([]row{{"Report of the laboratory", lab.Value}}, rows...)
			}
			x.table(rows...)
			told.details(x, of)
		}
		told.close(x)
		x.paragraph("Summary by the endoscopy unit. The report of the laboratory is the original.")
	})
}
