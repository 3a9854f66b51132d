package check

import (
	"slices"

	"enbloc/mapping/report"
)

const drugList = "/before/antithrombotics"

func noneTakenWithDrugs(r *report.Report, say say) {
	if b := beforeOf(r); b.AntithromboticHistory == report.HistoryNoneTaken && len(b.Antithrombotics) > 0 {
		say("/before/antithrombotic_history", "No antithrombotic is said to be taken, and yet some are listed.", "Write complete-list or incomplete-list, or remove the drugs.")
	}
}

func completeListEmpty(r *report.Report, say say) {
	if b := beforeOf(r); b.AntithromboticHistory == report.HistoryComplete && len(b.Antithrombotics) == 0 {
		say("/before/antithrombotic_history", "The list of antithrombotics is called complete and is empty.", "Write none-taken when none is taken.")
	}
}

func drugTwice(r *report.Report, say say) {
	type drug struct {
		class report.DrugClass
		agent report.Agent
	}
	seen := map[drug]bool{}
	for i, d := range beforeOf(r).Antithrombotics {
		key := drug{d.Class, d.Agent}
		if seen[key] {
			say(at(drugList, i), "The same antithrombotic is listed twice; a score would count it twice.", "Keep one of the two.")
		}
		seen[key] = true
	}
}

// classOf is the class of each agent. Agents of the classes "other" are not
// listed by name.
var classOf = map[report.Agent]report.DrugClass{
	report.AgentAspirin:     report.Aspirin,
	report.AgentClopidogrel: report.P2Y12,
	report.AgentPrasugrel:   report.P2Y12,
	report.AgentTicagrelor:  report.P2Y12,
	report.AgentCilostazol:  report.Cilostazol,
	report.AgentWarfarin:    report.Warfarin,
	report.AgentApixaban:    report.DOAC,
	report.AgentRivaroxaban: report.DOAC,
	report.AgentEdoxaban:    report.DOAC,
	report.AgentDabigatran:  report.DOAC,
	report.AgentHeparin:     report.Heparin,
	report.AgentLMWHeparin:  report.LMWHeparin,
}

func agentOfOtherClass(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if class, known := classOf[d.Agent]; known && class != d.Class {
			say(at(drugList, i)+"/agent", "The drug "+string(d.Agent)+" is not of the class "+string(d.Class)+".", "Check class and drug.")
		}
	}
}

func interruptedWithoutLastDose(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		stopped := d.Management == report.Interrupted || d.Management == report.Replaced
		if stopped && d.LastDose.IsZero() {
			say(at(drugList, i)+"/last_dose", "The drug was stopped, but its last dose is missing.", "Add when the last dose was taken.")
		}
	}
}

func lastDoseInSession(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if earlier(r.Session.Start, d.LastDose) {
			say(at(drugList, i)+"/last_dose", "The last dose before the session lies after the session's start.", "Check the date and the time.")
		}
	}
}

func replacedWithoutReplacement(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if d.Management == report.Replaced && d.ReplacedBy == "" {
			say(at(drugList, i)+"/replaced_by", "The drug was replaced, but not by what.", "Add the class of the drug taken instead, or write interrupted.")
		}
	}
}

func replacementThoughNotReplaced(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if d.ReplacedBy != "" && report.Known(d.Management) && d.Management != report.Replaced {
			say(at(drugList, i)+"/management", "A replacement is named, but the drug is not called replaced.", "Write replaced, or remove the replacement.")
		}
	}
}

// bridged reports whether heparin of either kind covered a gap.
func bridged(d report.Antithrombotic) bool {
	return report.Known(d.Bridging) && d.Bridging != report.BridgingNone
}

func bridgingOfContinued(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if d.Management == report.Continued && bridged(d) {
			say(at(drugList, i)+"/bridging", "The drug was continued, so there was no gap to bridge.", "Check management and bridging.")
		}
	}
}

// antiplatelets are not bridged with heparin.
var antiplatelets = []report.DrugClass{report.Aspirin, report.P2Y12, report.Cilostazol, report.OtherAntiplatelet}

func bridgingOfAntiplatelet(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if bridged(d) && slices.Contains(antiplatelets, d.Class) {
			say(at(drugList, i)+"/bridging", "Bridging with heparin is recorded for a drug against platelets; it is usual for anticoagulants.", "Check to which drug the bridging belongs.")
		}
	}
}

func restartBeforeSession(r *report.Report, say say) {
	for i, d := range beforeOf(r).Antithrombotics {
		if dateBefore(d.PlannedRestart, r.Session.Start) {
			say(at(drugList, i)+"/planned_restart", "The drug is to be taken again on a day before the session.", "Check the date.")
		}
	}
}

func inrMissing(r *report.Report, say say) {
	b := beforeOf(r)
	for i, d := range b.Antithrombotics {
		if d.Class == report.Warfarin && !b.INR.Reported() {
			say("/before/inr", "Warfarin is taken ("+at(drugList, i)+"), and the INR of the day is missing.", "Add the INR, or say that it was not assessed.")
			return
		}
	}
}

// inrInRange is the INR up to which JGES 2017 leaves warfarin on.
const inrInRange = 3

func inrHighOnWarfarin(r *report.Report, say say) {
	b := beforeOf(r)
	for _, d := range b.Antithrombotics {
		if d.Class == report.Warfarin && d.Management == report.Continued && above(b.INR, inrInRange) {
			say("/before/inr", "Warfarin was continued at an INR of "+b.INR.Text()+"; the guideline leaves it on while the INR is in range, and advises against even a biopsy above 3.0.",
				"Check the INR and what was done; the team that treats the patient decides.")
			return
		}
	}
}

func historyMissing(r *report.Report, say say) {
	if anyLesion(r, gastricDissection) && !report.Known(beforeOf(r).AntithromboticHistory) {
		say("/before/antithrombotic_history", "It is not known how complete the list of antithrombotics is; the bleeding score after gastric ESD needs it.",
			"Write complete-list, none-taken or incomplete-list.")
	}
}
