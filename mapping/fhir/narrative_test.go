package fhir_test

import (
	"html"
	"strings"
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
		Guideline: "Guideline", Short: "G 2021", Edition: "2nd edition", Source: "Citation", Confirmed: assess.Memory, Cautions: []string{"Mind."},
		Risk: &assess.Risk{Of: "bleeding", Pct: 6.1, CILow: 4.8, CIHigh: 7.8, Events: 65, Denominator: 1059}}})
	requireNarrative(t, text)
	for _, want := range []string{"Test data: no real person.", "Signed 2026-02-03 11:52", "antrum of stomach", "25 x 18.50 mm",
		"Paris 0-IIa + Paris 0-IIc", "non-extension sign negative", "Endoscopic ultrasound</th><td>not assessed", "Endoscopic submucosal dissection",
		"mucosal incision 09:20 to 09:36", "at most 90 W", "09:50 to 09:53; oozing", "Histology is pending.",
		"<td>Risk</td><td>Low. Because. Published: bleeding 6.1% (95% interval 4.8 to 7.8), 65 of 1059.</td><td>G\u00a02021\u00a0[1]</td>",
		"<li>[1] Guideline, 2nd edition. Citation.</li>",
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
	require.Contains(t, text, "<td>Curability</td><td>No histology yet</td><td>It would decide.</td>")
}

// The answers that decide stand first, one line each with who says so and how
// far that is confirmed; what rests on memory says so in the line itself; each
// source and caution stands once, at the end.
func TestNarrativePutsWhatDecidesFirst(t *testing.T) {
	t.Parallel()
	rep := withHistology(t, report.HistologyFinal)
	results := assess.DefaultBook().Assess(rep)
	text := fhir.Narrative(rep, results)
	requireNarrative(t, text)
	curability := strings.Index(text, "<td>Curability of the gastric resection (eCura)</td><td><b>")
	margins, bleeding := strings.Index(text, "<td>How the resection came out</td>"), strings.Index(text, "<td>Risk of delayed bleeding")
	next, seen := strings.Index(text, "<td>Surveillance after gastric resection"), strings.Index(text, "<th>Place</th>")
	require.Positive(t, curability)
	require.True(t, curability < margins && margins < bleeding && bleeding < next && next < seen, "%d %d %d %d %d", curability, margins, bleeding, next, seen)
	for _, r := range results {
		if r.Settled() {
			require.Equal(t, 1, strings.Count(text, html.EscapeString(r.Source)), r.Source)
		}
		if r.Confirmed == assess.Memory && r.Settled() {
			require.Contains(t, text, "from memory, not confirmed)</b></td>")
		}
		for _, c := range r.Cautions {
			require.LessOrEqual(t, strings.Count(text, html.EscapeString(c)), len(rep.Lesions)*3, c)
		}
	}
	require.NotContains(t, text, "not-applicable")
}

// The summary of histology tells what hangs on histology and nothing else.
func TestHistologySummaryKeepsToPathology(t *testing.T) {
	t.Parallel()
	rep := withHistology(t, report.HistologyFinal)
	g, err := fhir.Map(rep, assess.DefaultBook().Assess(rep), options())
	require.NoError(t, err)
	text := string(resource(t, g, "report/pathology").Body)
	require.Contains(t, text, "Curability of the gastric resection (eCura)")
	require.Contains(t, text, "R0 resection")
	for _, other := range []string{"BEST-J", "delayed bleeding", "Indication for gastric resection", "Resection speed"} {
		require.NotContains(t, text, other)
	}
}

// What was not retrieved is not waited for.
func TestNarrativeWaitsForNoLostSpecimen(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	rep.Lesions[0].Specimen.Retrieved = report.No
	text := fhir.Narrative(rep, nil)
	require.Contains(t, text, "No specimen was retrieved")
	require.NotContains(t, text, "Histology is pending.")
}

// A plan that does not apply reads as a sentence.
func TestPlanForHelicobacterReads(t *testing.T) {
	t.Parallel()
	for plan, want := range map[report.HPyloriPlan]string{
		report.HPyloriPlan(report.NotApplicable): "<li>Helicobacter pylori: nothing to plan here</li>",
		report.HPyloriPlan(report.Unknown):       "<li>Helicobacter pylori: what is planned is not known</li>",
		report.HPyloriEradicate:                  "<li>Eradicate H. pylori</li>",
	} {
		rep := gastricESD(t)
		rep.Plan.HPylori = plan
		require.Contains(t, fhir.Narrative(rep, nil), want)
	}
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
