package check

import (
	"slices"

	"enbloc/mapping/report"
)

func largeVesselCut(l *report.Lesion, _ *report.Report, say say) {
	for i, v := range resectionOf(l).Vessels {
		if v.Size == report.VesselLarge && v.When == report.CutWithoutCoag {
			say(at("/resection/vessels", i), "A large visible vessel was cut without coagulating it first.", "Check the entry; if it is so, record the bleeding and how it was stopped.")
		}
	}
}

func baseNotCoagulated(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	if !rs.Technique.Dissects() || rs.Completion == report.CompletionAbandoned || baseOf(rs).Done == report.Yes {
		return
	}
	if report.AbsenceOf(baseOf(rs).Done) == report.NotApplicable {
		return // somebody looked and says that the question does not arise
	}
	say("/resection/base_coagulation", "No coagulation of the vessels on the ulcer base is recorded after gastric dissection; it is the common guard against delayed bleeding.", "Record whether it was done and with what.")
}

func bleedingDenied(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	after := func(v report.Vessel) bool { return v.When == report.AfterBleeding }
	if rs.BleedingOccurred == report.No && (len(rs.Bleeding) > 0 || slices.ContainsFunc(rs.Vessels, after)) {
		say("/resection/bleeding_occurred", "No bleeding is said to have occurred, and yet bleeding or a vessel treated after bleeding is listed.", "Answer yes, or remove the entries.")
	}
}

// throughMuscle are the injuries in which the muscle itself is cut.
var throughMuscle = []report.MuscleInjury{report.MuscleInjuryIII, report.MuscleInjuryIV, report.MuscleInjuryV}

func muscleInjuryOpen(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	closed := closureOf(rs).Result == report.ClosureComplete || closureOf(rs).Result == report.ClosurePartial
	if slices.Contains(throughMuscle, rs.Muscle) && !closed {
		say("/resection/closure", "Deep mural injury of type "+string(rs.Muscle)+" is recorded without a closure; types III to V were clipped where possible.", "Record how it was dealt with.")
	}
}

func holeWithoutEvent(l *report.Lesion, r *report.Report, say say) {
	rs := resectionOf(l)
	perforation := func(e report.Event) bool { return e.Kind == report.EventPerforation && !e.Retracted }
	hole := rs.Muscle == report.MuscleInjuryIV || rs.Muscle == report.MuscleInjuryV
	if hole && !slices.ContainsFunc(r.Events, perforation) {
		say("/resection/muscle_injury", "A hole in the wall is recorded (type "+string(rs.Muscle)+"), and no perforation is among the events.", "Add the event, or check the type.")
	}
}

// closing are means that close a defect; sheet and gel only cover it.
var closing = []report.ClosureMean{report.CloseClip, report.CloseOTSC, report.CloseSuture, report.CloseLoop}

func openWithClips(l *report.Lesion, _ *report.Report, say say) {
	c := closureOf(resectionOf(l))
	if c.Result == report.ClosureNone && (above(c.Clips, 0) || has(c.Means, closing...)) {
		say("/resection/closure/result", "The defect is called not closed, and yet means of closing are listed.", "Write partly-closed or closed, or remove the means.")
	}
}

func closurePhaseWithoutClosure(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	closes := func(p report.Phase) bool { return p.Step == report.StepClosure }
	if slices.ContainsFunc(rs.Phases, closes) && (rs.Closure == nil || rs.Closure.Result == report.ClosureNone) {
		say("/resection/closure", "The time line has a phase of closure, and no closure is recorded.", "Record its result, or remove the phase.")
	}
}

// wideDefect is the share of the circumference from which one guideline
// speaks; the other speaks above it.
const wideDefect = 75 // per cent

func stricturePreventionMissing(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	if d := rs.DefectCircumferencePct; d.Known() && !below(d, wideDefect) && !report.Known(rs.StricturePrevention) {
		say("/resection/stricture_prevention", "The oesophageal defect takes "+figures("per cent", d)+" of the circumference, and nothing says whether a stricture was to be prevented. At exactly 75 per cent the guidelines differ.",
			"Record what was given, or none.")
	}
}
