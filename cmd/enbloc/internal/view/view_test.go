package view_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/cmd/enbloc/internal/view"
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/mapping/whatif"
)

func page() (*layout.Page, *strings.Builder) {
	var b strings.Builder
	return layout.New(&b, func(string) string { return "" }), &b
}

// flat undoes the wrapping, to look for sentences.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

func TestLesionInOneLine(t *testing.T) {
	t.Parallel()
	for want, l := range map[string]report.Lesion{
		"Lesion 1: stomach (antrum, lesser curvature), 0-IIa+IIc, 22 × 18 mm, ESD": {Number: 1,
			Examination: report.Examination{Organ: report.Stomach, Site: report.SiteAntrum, Wall: report.WallLesser,
				Paris: []report.ParisType{report.Paris0IIa, report.Paris0IIc}, SizeLongMm: report.Int(22), SizeShortMm: report.Int(18)},
			Resection: &report.Resection{Technique: report.ESD}},
		"Lesion 2: Barrett oesophagus, 12 mm, hybrid ESD": {Number: 2,
			Examination: report.Examination{Organ: report.Oesophagus, Mucosa: report.Barrett, SizeLongMm: report.Int(12)},
			Resection:   &report.Resection{Technique: report.HybridESD}},
		"Lesion 3: colon, not resected": {Number: 3, Examination: report.Examination{Organ: report.Colon,
			Paris: []report.ParisType{report.ParisType(report.NotAssessed)}, SizeLongMm: report.Absent(report.Unknown)}},
	} {
		require.Equal(t, want, view.LesionLine(l))
	}
}

func TestFindingsShowWorstFirstWithPlaceAndMend(t *testing.T) {
	t.Parallel()
	findings := []report.Finding{
		{ID: "a", Severity: report.Advice, Pointer: "/plan", Text: "Advice text.", Source: "common practice, no source"},
		{ID: "e", Severity: report.Error, Pointer: "/lesions/0/specimen/size_long_mm", Text: "Error text.", Mend: "Mend text.", Source: "S"},
		{ID: "w", Severity: report.Warning, Pointer: "", Text: "Warning text.", Source: "S"},
	}
	p, out := page()
	view.Findings(p, findings)
	text := flat(out.String())
	require.Less(t, strings.Index(text, "Error text."), strings.Index(text, "Warning text."))
	require.Less(t, strings.Index(text, "Warning text."), strings.Index(text, "Advice text."))
	require.Contains(t, text, "ERROR /lesions/0/specimen/size_long_mm Error text. Mend: Mend text. Source: S [e]")
	require.Contains(t, text, "WARNING the whole document")
	require.Equal(t, "1 error, 1 warning, 1 advice", view.Count(findings))
	require.Equal(t, "nothing found", view.Count(nil))
}

var answers = []assess.Result{
	{Rule: "R2", Title: "Curability", Guideline: "G", Edition: "2021", Source: "S 2021;33:4", Confirmed: assess.Primary, Lesion: 1,
		Answer: "B", Reason: "Shallow.", Inputs: []string{"/lesions/0/histology/depth_um"}, Missing: []string{}, Cautions: []string{"Age counts."},
		Risk: &assess.Risk{Of: "lymph node metastasis", Pct: 2.6, CILow: 1.1, CIHigh: 5, Events: 7, Denominator: 267}},
	{Rule: "R4", Title: "Bleeding", Guideline: "H", Source: "T", Confirmed: assess.Memory, Lesion: 1, Answer: assess.CannotBeAssessed,
		Reason: "Dialysis is not reported.", Inputs: []string{"/lesions/0"}, Missing: []string{"/before/haemodialysis"}, Decides: "low or high"},
	{Rule: "R9", Title: "Severity", Guideline: "I", Source: "U", Confirmed: assess.SecondHand, Event: "EV1", Lesion: 1, Answer: "moderate",
		Reason: "Transfusion.", Inputs: []string{"/events/0"}},
}

func TestResultsShowEverythingAnAnswerRestsOn(t *testing.T) {
	t.Parallel()
	rep := report.Report{
		Lesions: []report.Lesion{{Number: 1, Examination: report.Examination{Organ: report.Stomach}}},
		Events:  []report.Event{{ID: "EV1", Kind: report.EventBleeding, Timing: report.AfterSession}},
	}
	p, out := page()
	view.Results(p, rep, answers)
	text := flat(out.String())
	for _, want := range []string{
		"Curability: B", "Shallow.", "lymph node metastasis 2.6% (95% CI 1.1 to 5%; 7 of 267)", "Caution Age counts.",
		"G, 2021; read in the publication [R2]", "S 2021;33:4", "From histology/depth_um",
		"Bleeding: cannot be assessed", "Missing /before/haemodialysis", "Decides low or high", "NOT CONFIRMED, from memory",
		"Event: bleeding, after the session", "Severity: moderate", "defer to local protocol",
	} {
		require.Contains(t, text, want)
	}
	require.Equal(t, 1, strings.Count(text, "Severity: moderate"), "an answer about an event stands under the event only")
	for _, l := range strings.Split(out.String(), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(l), 100, l)
	}
}

func TestWhatHoldsForAllIsSaidOnce(t *testing.T) {
	t.Parallel()
	first, second := answers[0], answers[0]
	first.Cautions = []string{"Local protocol decides.", "Only here."}
	second.Cautions = []string{"Local protocol decides."}
	p, out := page()
	view.Results(p, report.Report{Lesions: []report.Lesion{{Number: 1}}}, []assess.Result{first, second})
	require.Equal(t, 1, strings.Count(out.String(), "Local protocol decides."))
	require.Equal(t, 1, strings.Count(out.String(), "Only here."))
}

func TestPublishedDenominatorAloneIsNotZeroOfIt(t *testing.T) {
	t.Parallel()
	p, out := page()
	r := answers[0]
	r.Risk = &assess.Risk{Of: "bleeding", Pct: 11.4, Denominator: 1000}
	view.Results(p, report.Report{Lesions: []report.Lesion{{Number: 1}}}, []assess.Result{r})
	require.Contains(t, out.String(), "bleeding 11.4% (n = 1000)")
	require.NotContains(t, out.String(), "0 of 1000")
}

func TestCompareShowsWhatChangedFirst(t *testing.T) {
	t.Parallel()
	after := []assess.Result{answers[0], answers[1]}
	after[0].Answer, after[0].Reason = "C-2", "Deep."
	added := assess.Result{Rule: "R3", Title: "Score", Guideline: "G", Lesion: 1, Answer: "1"}
	pairs := whatif.Pairs(answers, append(after, added))
	require.Len(t, pairs, 4)
	require.True(t, pairs[0].Changed)
	require.False(t, pairs[1].Changed)
	require.True(t, pairs[2].Changed, "the event's answer is gone")
	require.Nil(t, pairs[2].After)
	require.Nil(t, pairs[3].Before)

	p, out := page()
	view.Compare(p, pairs)
	text := out.String()
	require.Contains(t, text, "3 answers change:")
	require.Contains(t, flat(text), "B C-2")
	require.Contains(t, text, "(the rule does not apply)")
	require.Less(t, strings.Index(text, "C-2"), strings.Index(text, "Unchanged:"))
}
