package sample

import "enbloc/mapping/report"

var (
	vesselTools = []report.VesselTool{report.ToolForceps, report.ToolKnife, report.ToolClip}
	vesselSizes = []report.VesselSize{report.VesselSmall, report.VesselLarge}
	vesselWhens = []report.VesselWhen{report.BeforeCutting, report.AfterBleeding, report.AfterResection, report.CutWithoutCoag}
	bleedings   = []report.BleedingKind{report.Oozing, report.Spurting}
)

// bleed writes vessels, bleeding and the coagulation of the base.
func (s *session) bleed(r *report.Resection, c course) {
	if c.technique.Dissects() && s.has("vessels") {
		for range s.whole(1, 3) {
			r.Vessels = append(r.Vessels, s.vessel())
		}
	}
	r.BleedingOccurred = s.answer("bleeding", 0.35)
	if r.BleedingOccurred == report.Yes && s.has("spells") {
		for range s.whole(1, 2) {
			r.Bleeding = append(r.Bleeding, s.spell(c))
		}
	}
	if c.technique.Dissects() && s.has("base") {
		r.Base = s.base(c)
	}
}

func (s *session) vessel() report.Vessel {
	v := report.Vessel{
		Size:  one(s.dice, "vessel size", vesselSizes, 0.6, 0.4),
		When:  one(s.dice, "vessel when", vesselWhens, 0.75, 0.15, 0.08, 0.02),
		Count: s.number("vessel count", float64(s.whole(1, 6)), 0),
		At:    s.optionalTime("vessel at", s.clock.Add(-minutes(5))),
	}
	v.With = plain(s.dice, "vessel with", vesselTools, 0.5, 0.45, 0.05)
	return v
}

// spell is one bleeding; it ends a few minutes after it began, while the
// lesion is still being worked on.
func (s *session) spell(c course) report.BleedingSpell {
	start := s.clock.Add(-minutes(6))
	spell := report.BleedingSpell{
		Start: s.optionalTime("spell start", start),
		End:   s.optionalTime("spell end", start.Add(minutes(float64(s.whole(1, 5))))),
		Kind:  one(s.dice, "spell kind", bleedings, 0.7, 0.3),
	}
	if s.has("stopped by") {
		spell.StoppedBy = s.tools(c)
	}
	return spell
}

// tools at hand to stop a bleeding; a knife only where one is used.
func (s *session) tools(c course) []report.VesselTool {
	if c.technique.Dissects() {
		return some(s.dice, "stopped by", vesselTools, 1, 2, 0.6, 0.3, 0.1)
	}
	return some(s.dice, "stopped by without knife", []report.VesselTool{report.ToolForceps, report.ToolClip}, 1, 2)
}

// base is the coagulation of the base of the defect, usual in the stomach.
func (s *session) base(c course) *report.BaseCoagulation {
	yes := 0.3
	if c.organ == report.Stomach {
		yes = 0.96
	}
	b := &report.BaseCoagulation{Done: pick(s.dice, "base/done", []report.Answer{report.Yes, report.No, "unknown", "not-assessed", "not-applicable"}, yes, 1-yes, 0.01, 0, 0)}
	if b.Done != report.Yes {
		return b
	}
	b.With = plain(s.dice, "base/with", vesselTools, 0.9, 0.08, 0.02)
	start := s.clock.Add(-minutes(4))
	b.Start = s.optionalTime("base start", start)
	b.End = s.optionalTime("base end", start.Add(minutes(3)))
	return b
}

var (
	closureMeans = []report.ClosureMean{
		report.CloseClip, report.CloseOTSC, report.CloseSuture, report.CloseLoop, report.CoverSheet, report.CoverGel,
	}
	closureResults = []report.ClosureResult{report.ClosureNone, report.ClosurePartial, report.ClosureComplete}
)

// closure is a matter of course after a hole.
func (s *session) closure(c course, r *report.Resection) *report.Closure {
	if !c.perforated && !s.has("closure") {
		return nil
	}
	result := report.ClosureComplete
	if !c.perforated {
		all := append([]report.ClosureResult{"unknown", "not-assessed", "not-applicable"}, closureResults...)
		result = pick(s.dice, "closure", all, 0.01, 0, 0, 0.69, 0.05, 0.25)
	}
	out := &report.Closure{Result: result}
	if result != report.ClosureComplete && result != report.ClosurePartial {
		return out
	}
	if s.has("closure means") {
		out.Means = some(s.dice, "closure mean", closureMeans, 1, 2)
	}
	if len(out.Means) == 0 || contains(out.Means, report.CloseClip) || contains(out.Means, report.CloseLoop) {
		out.Clips = s.number("clips", float64(s.whole(2, 9)), 0)
	}
	out.Start = s.optionalTime("closure start", s.clock.Add(-minutes(1)))
	out.End = s.optionalTime("closure end", s.clock)
	return out
}
