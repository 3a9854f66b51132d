package fhir_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// What an endoscopist signs: lesion, technique, time line, findings, what is
// pending, what follows by which rule and how far that is confirmed, the plan,
// and who decides.
func TestNarrativeSaysWhatIsSigned(t *testing.T) {
	t.Parallel()
	text := fhir.Narrative(gastricESD(t), []assess.Result{{Rule: "R", Title: "Risk", Lesion: 1, Answer: "low", Reason: "Because.",
		Guideline: "Guideline", Edition: "2nd edition", Source: "Citation", Confirmed: assess.Memory, Cautions: []string{"Mind."},
		Risk: &assess.Risk{Of: "bleeding", Pct: 6.1, CILow: 4.8, CIHigh: 7.8, Events: 65, Denominator: 1059}}})
	requireNarrative(t, text)
	for _, want := range []string{"Test data: no real person.", "Signed 2026-02-03 11:52", "antrum of stomach", "25 x 18.50 mm",
		"Paris 0-IIa + Paris 0-IIc", "non-extension sign negative", "Endoscopic ultrasound</th><td>not assessed", "Endoscopic submucosal dissection",
		"mucosal incision 09:20 to 09:36", "at most 90 W", "09:50 to 09:53; Oozing", "Histology is pending.", "Risk: low. Because.",
		"Guideline, 2nd edition; not confirmed, from memory; Citation", "bleeding 6.1% (95% interval 4.8 to 7.8), 65 of 1059",
		"Mind.", "Follow-up endoscopy", "from 2026-08 until 2027-02", "licensed clinicians"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "HTEST-PAT", "the patient's number is not in the text")
}

func TestNarrativeStates(t *testing.T) {
	t.Parallel()
	for status, want := range map[report.Status]string{report.Draft: "Draft, not signed.", report.Amended: "Amended 2026-02-03 11:40 +01:00, revision 1. Reason: typing",
		report.Corrected: "Corrected", report.Withdrawn: "Do not use."} {
		rep := gastricESD(t)
		rep.Status, rep.StatusReason = status, "typing"
		require.Contains(t, fhir.Narrative(rep, nil), want)
	}
}

// A cannot-be-assessed stays one in words, with what is missing.
func TestNarrativeNamesWhatIsMissing(t *testing.T) {
	t.Parallel()
	text := fhir.Narrative(gastricESD(t), []assess.Result{{Title: "Curability", Lesion: 1, Answer: assess.CannotBeAssessed,
		Reason: "No histology yet.", Missing: []string{"/lesions/0/histology/depth_um"}, Decides: "It would decide."}})
	require.Contains(t, text, "Curability: cannot be assessed. No histology yet.")
	require.Contains(t, text, "Missing: lesions 1, histology, depth um. It would decide.")
}

// Every narrative of every case is well-formed and of allowed elements.
func TestNarrativesAreXHTML(t *testing.T) {
	t.Parallel()
	book := assess.DefaultBook()
	for _, c := range sample.Cover(60) {
		rep := c.Merged()
		requireNarrative(t, fhir.Narrative(rep, book.Assess(rep)))
	}
}
