package sample

import (
	"math"
	"time"

	"enbloc/mapping/report"
)

// resect writes what was done to a lesion and moves the clock on.
func (s *session) resect(c course) *report.Resection {
	r := &report.Resection{
		Technique:  c.technique,
		Completion: said(s.dice, "completion/said", c.ended),
		Fibrosis:   one(s.dice, "fibrosis", []report.Fibrosis{report.FibrosisF0, report.FibrosisF1, report.FibrosisF2}, 0.7, 0.22, 0.08),
		Muscle:     c.muscle,
	}
	if s.rare("planned", 0.03) {
		r.Planned = pick(s.dice, "planned", techniques)
	}
	if c.technique.Dissects() && s.has("aids") {
		r.Aids = some(s.dice, "aid", aids, 1, 2)
	}
	if c.ended != report.CompletionComplete {
		s.stop(r, c)
	}
	r.Phases = s.phases(c)
	s.steps(r, c)
	s.bleed(r, c)
	r.Closure = s.closure(c)
	s.outcome(r, c)
	return r
}

var (
	aids = []report.TechniqueAid{
		report.AidPocket, report.AidTunnel, report.AidTractionClip, report.AidTractionSpring, report.AidTractionOther, report.AidUnderwater,
	}
	stopReasons = []report.StopReason{
		report.StopFibrosis, report.StopDeep, report.StopBleeding, report.StopAccess, report.StopSedation, report.StopTime, report.StopOther,
	}
)

func (s *session) stop(r *report.Resection, c course) {
	if c.perforated {
		r.StopReason = said(s.dice, "stop perforated", report.StopPerforation)
	} else {
		r.StopReason = one(s.dice, "stop", stopReasons)
	}
	r.StopText = s.text("stop text", "Decided together with the anaesthetist and the ward.")
}

// muscle is the type of deep mural injury; IV and V are a hole.
func (s *session) muscle(c course) report.MuscleInjury {
	if c.perforated {
		return pick(s.dice, "muscle hole", []report.MuscleInjury{report.MuscleInjuryIV, report.MuscleInjuryV}, 0.85, 0.15)
	}
	return one(s.dice, "muscle", []report.MuscleInjury{report.MuscleInjury0, report.MuscleInjuryI, report.MuscleInjuryII, report.MuscleInjuryIII}, 0.85, 0.1, 0.03, 0.02)
}

// stretch is a step with its share of the time of the resection.
type stretch struct {
	step  report.Step
	share float64
}

var (
	dissectingSteps = []stretch{{report.StepIncision, 0.22}, {report.StepTrimming, 0.08}, {report.StepDissection, 0.70}}
	snaringSteps    = []stretch{{report.StepSnaring, 1}}
	hybridSteps     = []stretch{{report.StepIncision, 0.3}, {report.StepDissection, 0.5}, {report.StepSnaring, 0.2}}
	precutSteps     = []stretch{{report.StepIncision, 0.5}, {report.StepSnaring, 0.5}}
)

func (c course) stretches() []stretch {
	switch c.technique {
	case report.ESD:
		return dissectingSteps
	case report.HybridESD:
		return hybridSteps
	case report.PrecutEMR:
		return precutSteps
	}
	return snaringSteps
}

// phases lays the steps one after the other from where the clock stands.
func (s *session) phases(c course) []report.Phase {
	s.began, s.spans = s.clock, map[report.Step][2]time.Time{}
	var out []report.Phase
	add := func(step report.Step, length float64) {
		end := s.clock.Add(minutes(math.Max(1, length)))
		out = append(out, report.Phase{Step: step, Start: stamp(s.clock), End: stamp(end)})
		s.spans[step] = [2]time.Time{s.clock, end}
		s.clock = end
	}
	if c.technique.Dissects() {
		add(report.StepMarking, float64(s.whole(2, 5)))
	}
	if c.technique != report.ColdSnare && c.technique != report.UnderwaterEMR {
		add(report.StepInjection, float64(s.whole(2, 6)))
	}
	for _, stretch := range c.stretches() {
		add(stretch.step, c.resectionMin*stretch.share)
	}
	if s.rare("haemostasis phase", 0.4) {
		add(report.StepHaemostasis, float64(s.whole(1, 6)))
	}
	if c.technique.Dissects() && c.ended == report.CompletionComplete {
		add(report.StepBase, float64(s.whole(2, 9)))
	}
	if c.closes() {
		add(report.StepClosure, float64(s.whole(1, 12)))
	}
	if !s.has("phases") {
		return nil
	}
	return out
}

// outcome writes what is left behind and how it came out.
func (s *session) outcome(r *report.Resection, c course) {
	if c.ended != report.CompletionAbandoned {
		r.Pieces = s.number("pieces", float64(c.pieces), 0)
	}
	r.VisibleResidual = said(s.dice, "residual", yesIf(c.ended != report.CompletionComplete))
	length := c.specimenLong + float64(s.whole(1, 4))
	r.DefectLengthMm = s.number("defect length", length, 0)
	switch c.organ {
	case report.Oesophagus, report.Rectum, report.Colon, report.Duodenum:
		share := s.defectShare(c)
		r.DefectCircumferencePct = s.number("defect share", share, 0)
		if c.organ == report.Oesophagus {
			r.StricturePrevention = s.prevention(share)
		}
	}
}

// defectShare is the share of the circumference that the defect takes; it is
// never smaller than the lesion's own.
func (s *session) defectShare(c course) float64 {
	return min(100, c.roundShare()+float64(s.whole(5, 20)))
}

// roundShare is the share of the circumference that the lesion takes, for a
// lumen about 70 mm round in the oesophagus and wider elsewhere; common
// practice, no source.
func (c course) roundShare() float64 {
	switch {
	case c.round:
		return 100
	case c.organ == report.Oesophagus:
		return math.Round(min(90, c.short*1.4))
	}
	return math.Round(min(80, c.short*0.9))
}

// prevention is given from about three quarters of the circumference.
func (s *session) prevention(share float64) report.StricturePrevention {
	if share < 75 {
		return one(s.dice, "prevention small", []report.StricturePrevention{report.PreventNone})
	}
	return one(s.dice, "prevention", []report.StricturePrevention{report.PreventLocal, report.PreventOral, report.PreventBoth, report.PreventNone}, 0.5, 0.2, 0.2, 0.1)
}
