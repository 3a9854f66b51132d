package sample

import "enbloc/mapping/report"

var (
	followUps    = []report.FollowUpKind{report.FollowUpEndoscopy, report.FollowUpClinic, report.FollowUpCT, report.FollowUpUltrason}
	pyloriPlans  = []report.HPyloriPlan{report.HPyloriEradicate, report.HPyloriTest, report.HPyloriConfirm, report.HPyloriNothing}
	referralsTo  = []report.ReferralTo{report.ToBoard, report.ToSurgery, report.ToOncology, report.ToRadiotherapy, report.ToExpertReading}
	followReason = "Healing of the resection site"
)

// writePlan fills in what is to follow.
func (s *session) writePlan() {
	if !s.has("plan") {
		return
	}
	p := &report.Plan{Text: s.text("plan text", "Further steps after histology.")}
	if s.has("follow-ups") {
		p.FollowUps = []report.FollowUp{s.followUp()}
		if s.rare("second follow-up", 0.15) {
			p.FollowUps = append(p.FollowUps, s.followUp())
		}
	}
	if s.kind == report.UpperEndoscopy {
		p.HPylori = s.pyloriPlan()
	}
	if s.rare("referral", 0.06) {
		for _, to := range some(s.dice, "referral", referralsTo, 1, 2, 0.6, 0.25, 0.05, 0.05, 0.05) {
			p.Referrals = append(p.Referrals, report.Referral{
				To: to, Lesion: s.planLesion(), Reason: s.text("referral reason", "Risk of nodes to be weighed.")})
		}
	}
	if s.rep.Before != nil {
		for _, drug := range s.rep.Before.Antithrombotics {
			p.AntithromboticPlan = append(p.AntithromboticPlan, s.restart(drug)...)
		}
	}
	s.rep.Plan = p
}

// pyloriPlan agrees with what is known of the infection.
func (s *session) pyloriPlan() report.HPyloriPlan {
	if s.rep.Before == nil {
		return one(s.dice, "pylori plan", pyloriPlans)
	}
	switch s.rep.Before.HPylori {
	case report.HPyloriPositive, report.HPyloriFailed:
		return one(s.dice, "pylori plan positive", []report.HPyloriPlan{report.HPyloriEradicate})
	case report.HPyloriEradicated:
		return one(s.dice, "pylori plan eradicated", []report.HPyloriPlan{report.HPyloriNothing, report.HPyloriConfirm}, 0.8, 0.2)
	case report.HPyloriNegative:
		return one(s.dice, "pylori plan negative", []report.HPyloriPlan{report.HPyloriNothing})
	}
	return one(s.dice, "pylori plan unknown", []report.HPyloriPlan{report.HPyloriTest})
}

func (s *session) planLesion() int {
	if !s.has("plan lesion") {
		return 0
	}
	return 1
}

// followUp lies in a window of some weeks, two to six months later.
func (s *session) followUp() report.FollowUp {
	f := report.FollowUp{
		Kind:   pick(s.dice, "follow-up", followUps, 0.85, 0.1, 0.03, 0.02),
		Reason: s.text("follow-up reason", followReason), Lesion: s.planLesion(),
	}
	from := s.whole(60, 180)
	if s.has("earliest") {
		f.Earliest = day(s.end, from)
	}
	if s.has("latest") {
		f.Latest = day(s.end, from+30)
	}
	return f
}

// restart repeats when an interrupted drug is taken again.
func (s *session) restart(drug report.Antithrombotic) []report.RestartOfDrug {
	if drug.Management != report.Interrupted && drug.Management != report.Replaced {
		return nil
	}
	if !s.has("restart") {
		return nil
	}
	return []report.RestartOfDrug{{Class: drug.Class, On: drug.PlannedRestart, Text: s.text("restart text", "If no sign of bleeding.")}}
}
