package check

import (
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

func piecesAgainstContainers(l *report.Lesion, _ *report.Report, say say) {
	n, known := pieces(l)
	sum, counted := 0.0, len(specimenOf(l).Containers) > 0
	for _, c := range specimenOf(l).Containers {
		in, ok := c.Pieces.Value()
		sum, counted = sum+in, counted && ok
	}
	switch {
	case !known || !counted || sum == n:
	case n == 1:
		say("/resection/pieces", fmt.Sprintf("The lesion came out in one piece (en bloc), and the containers hold %g.", sum), "Check pieces and containers; only one piece is en bloc.")
	default:
		say("/resection/pieces", fmt.Sprintf("The lesion came out in %g pieces, and the containers hold %g.", n, sum), "Check pieces and containers.")
	}
}

func completeWithResidual(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); rs.Completion == report.CompletionComplete && rs.VisibleResidual == report.Yes {
		say("/resection/completion", "The resection is called complete, and lesion was left in place.", "Check both; with visible residual it is partial.")
	}
}

func piecesMissing(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); rs.Completion == report.CompletionComplete && !rs.Pieces.Reported() {
		say("/resection/pieces", "The resection is called complete, and the number of pieces is missing; en bloc and R0 hang on it.", "Add the number of pieces, or say that it is not known.")
	}
}

// broken reports whether the resection was not carried through.
func broken(rs *report.Resection) bool {
	return rs.Completion == report.CompletionPartial || rs.Completion == report.CompletionAbandoned
}

func stoppedWithoutReason(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); broken(rs) && !report.Known(rs.StopReason) && rs.StopText == "" {
		say("/resection/stop_reason", "The resection was not carried through, and the reason is missing.", "Add the reason for stopping.")
	}
}

func stopReasonThoughComplete(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); rs.Completion == report.CompletionComplete && report.Known(rs.StopReason) {
		say("/resection/stop_reason", "A reason for stopping is given for a complete resection.", "Check completion and reason.")
	}
}

func changeOfTechniqueUnexplained(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	if rs.Planned != "" && rs.Planned != rs.Technique && !report.Known(rs.StopReason) && rs.StopText == "" && l.Comment == "" {
		say("/resection/planned_technique", fmt.Sprintf("%s was planned and %s done, and nothing says why.", rs.Planned, rs.Technique), "Say why in a comment.")
	}
}

// knives cut mucosa and submucosa.
var knives = []report.Instrument{
	report.KnifeNeedle, report.KnifeNeedleJet, report.KnifeInsulatedTip, report.KnifeScissor, report.KnifeHook,
}

// snareOnly lists the techniques that need no knife. Precut EMR may.
var snareOnly = []report.Technique{report.EMR, report.UnderwaterEMR, report.HotSnare, report.ColdSnare}

func knifeWithoutDissection(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); slices.Contains(snareOnly, rs.Technique) && has(rs.Knives, knives...) {
		say("/resection/knives", fmt.Sprintf("A knife is listed for a resection with the snare (%s).", rs.Technique), "Check technique and instruments; after cutting with a knife it is precut EMR or hybrid ESD.")
	}
}

func dissectionWithoutKnife(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); rs.Technique.Dissects() && rs.Completion != report.CompletionAbandoned && !has(rs.Knives, knives...) {
		say("/resection/knives", "A dissection is reported without a knife.", "Add the knives by type.")
	}
}

// snared reports whether a snare was used, by instrument or by phase.
func snared(rs *report.Resection) bool {
	return slices.Contains(rs.Knives, report.Snare) ||
		slices.ContainsFunc(rs.Phases, func(p report.Phase) bool { return p.Step == report.StepSnaring })
}

func hybridWithoutSnare(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); rs.Technique == report.HybridESD && !broken(rs) && !snared(rs) {
		say("/resection/knives", "Hybrid ESD ends with the snare, and none is listed.", "Add the snare, or write esd.")
	}
}

func snareInESD(l *report.Lesion, _ *report.Report, say say) {
	if rs := resectionOf(l); rs.Technique == report.ESD && snared(rs) {
		say("/resection/technique", "A snare was used in a resection called ESD.", "Write hybrid-esd when the lesion was snared off at the end.")
	}
}

func currentWithColdSnare(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	if rs.Technique != report.ColdSnare {
		return
	}
	for i, s := range rs.Settings {
		if s.Step == report.StepSnaring {
			say(at("/resection/settings", i), "Current is set for snaring with a cold snare.", "Check technique and settings.")
		}
	}
}

func circumferentialStart(l *report.Lesion, _ *report.Report, say say) {
	const text = " at the start goes all the way round: usual in the stomach, unwise in the colorectum, where space is small and the injection hard to control."
	const mend = "Check what was entered; local protocol and the operator decide."
	rs := resectionOf(l)
	if rs.Technique == report.PrecutEMR {
		return // cutting all the way round before the snare is what precut EMR is
	}
	if rs.Incision != nil && rs.Incision.Extent == report.Circumferential {
		say("/resection/incision/extent", "The incision"+text, mend)
	}
	for i, j := range rs.Injections {
		if j.Extent == report.Circumferential && j.Timing == report.InjectionInitial {
			say(at("/resection/injections", i)+"/extent", "The injection"+text, mend)
		}
	}
}

func duodenalESD(l *report.Lesion, _ *report.Report, say say) {
	if resectionOf(l).Technique.Dissects() {
		say("/resection/technique", "The guideline wants ESD in the duodenum in expert hands only.", "Nothing to correct if that was so.")
	}
}

// coldSnareBelow is the size below which the duodenal guideline suggests the
// cold snare for non-malignant lesions.
const coldSnareBelow = 6 // mm

func duodenalColdSnare(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; resectionOf(l).Technique == report.ColdSnare && e.SizeLongMm.Known() && !below(e.SizeLongMm, coldSnareBelow) {
		say("/resection/technique", "A duodenal lesion of "+figures("mm", e.SizeLongMm)+" was removed with the cold snare; the guideline suggests that below 6 mm and EMR first for larger ones.", "Check size and technique; local protocol and the operator decide.")
	}
}
