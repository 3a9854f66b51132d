package check

import (
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

// found reports whether a sign was looked for with a result.
func found(s report.Sign) bool { return s == report.Positive || s == report.Negative }

func nonExtensionElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; found(e.NonExtension) {
		say("/examination/non_extension_sign", fmt.Sprintf("The non-extension sign of the stomach is given for a lesion of the %s.", e.Organ),
			"In the colorectum report rigid_arc, trapezoid_elevation and converging_folds instead.")
	}
}

func nonExtensionInsufflation(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; found(e.NonExtension) && e.FullInsufflation != report.Yes {
		say("/examination/full_insufflation", "The non-extension sign is judged on full insufflation, which is not recorded.", "Answer whether the stomach was fully insufflated.")
	}
}

func nonExtensionUncommented(l *report.Lesion, r *report.Report, say say) {
	if l.Examination.NonExtension == report.Positive && resectionOf(l).Technique.Dissects() && !commented(l, r) {
		say("/examination/non_extension_sign", "The non-extension sign is positive, which speaks for deep submucosal invasion, and the lesion was dissected without a comment.",
			"Say in technique_reason or comment why it was resected.")
	}
}

func deepClassUncommented(l *report.Lesion, r *report.Report, say say) {
	e := &l.Examination
	deep := e.NICE == report.NICE3 || e.JNET == report.JNET3 || slices.Contains(e.Kudo, report.KudoVN)
	if deep && resectionOf(l).Technique != "" && !commented(l, r) {
		say("/examination", "An optical class speaks for deep submucosal invasion, and the lesion was resected without a comment.",
			"Say in technique_reason or comment why it was resected.")
	}
}

// lifting lists the techniques that need the lesion to lift.
var lifting = []report.Technique{report.EMR, report.PrecutEMR, report.HotSnare}

func nonLiftingUncommented(l *report.Lesion, r *report.Report, say say) {
	if l.Examination.NonLifting == report.Positive && slices.Contains(lifting, resectionOf(l).Technique) && !commented(l, r) {
		say("/examination/non_lifting_sign", "The lesion did not lift and was removed with a snare, without a comment.", "Say in technique_reason or comment how and why.")
	}
}

// squamousDepths belong to the squamous oesophagus.
var squamousDepths = []report.PredictedDepth{report.PredictT1aEPLPM, report.PredictMMSM1}

func squamousDepthElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; slices.Contains(squamousDepths, e.PredictedDepth) {
		say("/examination/predicted_depth", fmt.Sprintf("A depth step of the squamous oesophagus is expected for a lesion of the %s.", e.Organ), "Check organ and depth.")
	}
}
