package assess

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// TestMissingDepth is the sentence that an endoscopist sees most: the depth
// has not been reported, and what it would decide.
func TestMissingDepth(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) { c.histology().PT = report.PT1b }))
	require.Equal(t, CannotBeAssessed, got.Answer)
	require.Equal(t, "Cannot be assessed: submucosal depth not reported.", got.Reason)
	require.Equal(t, []string{"/lesions/0/histology/depth_um"}, got.Missing)
	require.Equal(t, "submucosal depth: B below 500 µm, C-2 from 500 µm", got.Decides)
	require.Contains(t, got.Inputs, "/lesions/0/histology/pt")
}

// TestMissingSign says what either result of a sign would decide.
func TestMissingSign(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) { c.histology().VerticalMargin = report.CannotBeAssessed }))
	require.Equal(t, CannotBeAssessed, got.Answer, "VMX is not VM0")
	require.Equal(t, "Cannot be assessed: vertical margin could not be assessed.", got.Reason)
	require.Equal(t, "vertical margin: C-2 if positive, A if negative", got.Decides)
}

// TestMissingSize words limits that belong to what lies below them.
func TestMissingSize(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) {
		c.histology().TumourLongMm, c.histology().Ulcer = report.Number{}, report.UlcerScar
	}))
	require.Equal(t, "size on the map: A up to 30 mm, C-2 above 30 mm", got.Decides)
	got = answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) {
		c.histology().TumourLongMm, c.histology().Types[0] = report.Number{}, report.TypePor2
	}))
	require.Equal(t, "size on the map: A up to 20 mm, C-2 above 20 mm", got.Decides)
}

// TestSizeThatDoesNotMatter: without an ulcer and in the mucosa a
// differentiated cancer is A at any size, so a missing size is not missed.
func TestSizeThatDoesNotMatter(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) { c.histology().TumourLongMm = report.Number{} }))
	require.Equal(t, "A", got.Answer)
	require.Equal(t, "A(i)", got.Values["subclass"])
	require.Empty(t, got.Missing)
}

// TestSameClassEitherWay: up to 30 mm an ulcer changes the subclass of A only.
func TestSameClassEitherWay(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) { c.histology().Ulcer = "" }))
	require.Equal(t, "A", got.Answer)
	require.NotContains(t, got.Values, "subclass", "which A it is hangs on the ulcer")
	require.Contains(t, got.Reason, "eCura A, whatever the ulceration")
}

// TestSeveralMissing names what is still possible, and asks for nothing that
// could change nothing.
func TestSeveralMissing(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) {
		h := c.histology()
		h.PT, h.Ulcer, h.TumourLongMm = report.PT1b, "", report.Number{}
	}))
	require.Equal(t, []string{"/lesions/0/histology/depth_um", "/lesions/0/histology/tumour_long_mm"}, got.Missing, "the ulcer is of no matter in the submucosa")
	require.Equal(t, "possible as reported: C-2 or B; submucosal depth: C-2 from 500 µm; size on the map: C-2 above 30 mm", got.Decides)
}

// TestNoHistologyYet: one thing is missing, not twelve.
func TestNoHistologyYet(t *testing.T) {
	t.Parallel()
	got := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, func(c *caseReport) { c.lesion().Histology = nil }))
	require.Equal(t, "Cannot be assessed: histology not reported.", got.Reason)
	require.Equal(t, []string{"/lesions/0/histology"}, got.Missing)
}

// TestUndividedInvasion: an undivided positive is C-2 either way, but worth 1
// or 3 points in the score (Hatta, Am J Gastroenterol 2017;112:874).
func TestUndividedInvasion(t *testing.T) {
	t.Parallel()
	c := stated(gradedA, func(c *caseReport) {
		h := c.histology()
		h.LymphaticInvasion, h.VenousInvasion, h.Lymphovascular = "", "", report.Positive
	})
	require.Equal(t, "C-2", answerOf(t, "R2.gastric.curability.ecura", c).Answer)
	score := answerOf(t, "R3.gastric.lnm.ecura_score", c)
	require.Equal(t, CannotBeAssessed, score.Answer)
	require.Contains(t, score.Decides, "between 0 and 4 points")
	c.histology().VenousInvasion = report.Negative
	require.Equal(t, 3.0, answerOf(t, "R3.gastric.lnm.ecura_score", c).Values["points"], "what is not venous is lymphatic")
	c.histology().Lymphovascular, c.histology().VenousInvasion = report.Negative, ""
	require.Equal(t, "A", answerOf(t, "R2.gastric.curability.ecura", c).Answer, "an undivided negative is negative for both")
}

// TestScoreWithHole gives no score, but its range and what would settle it.
func TestScoreWithHole(t *testing.T) {
	t.Parallel()
	c := drugsKnown(report.Stomach, report.ESD)()
	c.Before.Haemodialysis, c.seen().Multiple, c.seen().Third, c.seen().SizeLongMm = "", report.No, report.LowerThird, figure("20")
	got := answerOf(t, "R4.bleed.bestj", c)
	require.Equal(t, CannotBeAssessed, got.Answer)
	require.Equal(t, []string{"/before/haemodialysis"}, got.Missing)
	require.Equal(t, "between 1 and 4 points with what is known; haemodialysis: high risk (4 points) if on haemodialysis, low risk (1 point) if not on haemodialysis", got.Decides)
}

// TestDrugsNotListed: a drug that is not in the list is not taken only when the
// list is called complete.
func TestDrugsNotListed(t *testing.T) {
	t.Parallel()
	for history, want := range map[report.AntithromboticHistory]string{
		report.HistoryComplete: "low", report.HistoryNoneTaken: "low", report.HistoryIncomplete: CannotBeAssessed, "": CannotBeAssessed, "unknown": CannotBeAssessed,
	} {
		c := drugsKnown(report.Stomach, report.ESD)()
		c.Before.AntithromboticHistory, c.Before.Haemodialysis = history, report.No
		c.seen().Multiple, c.seen().Third, c.seen().SizeLongMm = report.No, report.MiddleThird, figure("20")
		require.Equal(t, want, answerOf(t, "R4.bleed.bestj", c).Answer, "history %q", history)
	}
}

// TestSwapAndBridging follows the authors' notes to Hatta, Gut 2021;70:476: a
// swap is the old drug interrupted and the new one none; bridging is an
// interruption.
func TestSwapAndBridging(t *testing.T) {
	t.Parallel()
	base := func(drugs ...report.Antithrombotic) *caseReport {
		c := drugsKnown(report.Stomach, report.ESD)()
		c.Before.Haemodialysis, c.Before.Antithrombotics = report.No, drugs
		c.seen().Multiple, c.seen().Site, c.seen().SizeLongMm = report.No, report.SiteFundus, figure("20")
		return c
	}
	swap := report.Antithrombotic{Class: report.P2Y12, Management: report.Replaced, ReplacedBy: report.Aspirin}
	require.Equal(t, 1.0, answerOf(t, "R4.bleed.bestj", base(swap)).Values["points"])
	require.Equal(t, 1.0, answerOf(t, "R4.bleed.bestj", base(swap, report.Antithrombotic{Class: report.Aspirin, Management: report.Continued})).Values["points"])
	bridged := report.Antithrombotic{Class: report.Warfarin, Bridging: report.BridgingHeparin}
	require.Equal(t, 3.0, answerOf(t, "R4.bleed.bestj", base(bridged)).Values["points"])
	open := answerOf(t, "R4.bleed.bestj", base(report.Antithrombotic{Class: report.Warfarin}))
	require.Equal(t, CannotBeAssessed, open.Answer, "what was done with the drug is not known")
	require.Equal(t, []string{"/before/antithrombotics/0/management"}, open.Missing)
}

// TestBothGuidelinesSideBySide: at exactly 500 µm Japan says C-2 and ESGE sm1.
func TestBothGuidelinesSideBySide(t *testing.T) {
	t.Parallel()
	c := stated(gradedA, intoSM("500"))
	require.Equal(t, "C-2", answerOf(t, "R2.gastric.curability.ecura", c).Answer)
	low := answerOf(t, "R2.gastric.curability.esge2022", c)
	require.Equal(t, "low", low.Answer)
	require.Equal(t, Memory, low.Confirmed)
	require.Contains(t, low.Cautions, cautionMemory)
}

// TestSteps reads a step where no figure is given, as far as it goes.
func TestSteps(t *testing.T) {
	t.Parallel()
	at := func(pt report.PT, um string) *caseReport {
		return stated(gradedA, func(c *caseReport) {
			c.histology().PT = pt
			if um != "" {
				c.histology().DepthUm = figure(um)
			}
		})
	}
	for _, s := range []struct {
		pt       report.PT
		um, want string
	}{
		{report.PT1bSM1, "", "B"}, {report.PT1bSM2, "", "C-2"}, {report.PT1bSM1, "650", "C-2"}, {report.PT2, "", "C-2"}, {report.PT1a, "300", "B"},
		{report.PTX, "", CannotBeAssessed}, {report.PT1b, "0", CannotBeAssessed}, {report.PT0, "", "A"},
	} {
		require.Equal(t, s.want, answerOf(t, "R2.gastric.curability.ecura", at(s.pt, s.um)).Answer, "%s %s", s.pt, s.um)
	}
}
