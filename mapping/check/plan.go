package check

import (
	"slices"

	"enbloc/mapping/report"
)

func followUpReversed(r *report.Report, say say) {
	for i, f := range planOf(r).FollowUps {
		n := min(len(f.Earliest), len(f.Latest))
		if n > 0 && f.Latest[:n] < f.Earliest[:n] {
			say(at("/plan/follow_ups", i)+"/latest", "The latest date of the follow-up lies before the earliest.", "Check both dates.")
		}
	}
}

func followUpBeforeSession(r *report.Report, say say) {
	for i, f := range planOf(r).FollowUps {
		if dateBefore(f.Latest, r.Session.Start) {
			say(at("/plan/follow_ups", i)+"/latest", "The follow-up is due before the session.", "Check the date.")
		}
	}
}

func restartOfUnlistedDrug(r *report.Report, say say) {
	for i, p := range planOf(r).AntithromboticPlan {
		listed := func(d report.Antithrombotic) bool { return d.Class == p.Class || d.ReplacedBy == p.Class }
		if !slices.ContainsFunc(beforeOf(r).Antithrombotics, listed) {
			say(at("/plan/antithrombotic_restart", i)+"/class", "A drug is to be taken again that is not among those listed before the session ("+string(p.Class)+").", "Check the class, or add the drug with what was done with it.")
		}
	}
}

func restartMissing(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		planned := func(p report.RestartOfDrug) bool { return p.Class == d.Class }
		stopped := d.Management == report.Interrupted || d.Management == report.Replaced
		if stopped && d.PlannedRestart == "" && !slices.ContainsFunc(planOf(r).AntithromboticPlan, planned) {
			say(at(drugList, i)+"/planned_restart", "The drug was stopped, and nothing says when it is to be taken again.", "Add the day, here or in the plan.")
		}
	}
}

func hPyloriOpen(r *report.Report, say say) {
	b, p := beforeOf(r), planOf(r)
	gastric := func(l *report.Lesion) bool { return l.Examination.Organ == report.Stomach && l.Resection != nil }
	infected := b.HPylori == report.HPyloriPositive || b.HPylori == report.HPyloriFailed
	if anyLesion(r, gastric) && infected && (!report.Known(p.HPylori) || p.HPylori == report.HPyloriNothing) {
		say("/plan/h_pylori", "Helicobacter pylori is present after a gastric resection, and the plan says nothing about it.", "Record what is planned; local protocol decides.")
	}
}

func eradicationOfNothing(r *report.Report, say say) {
	if beforeOf(r).HPylori == report.HPyloriNegative && planOf(r).HPylori == report.HPyloriEradicate {
		say("/plan/h_pylori", "Eradication is planned, and the patient is said never to have been infected.", "Check both.")
	}
}

func imageBeforeSession(r *report.Report, say say) {
	for i, m := range r.Images {
		if earlier(m.TakenAt, r.Session.Start) {
			say(at("/images", i)+"/taken_at", "The picture was taken before the session began.", "Check the time, and whether it shows this session.")
		}
	}
}
