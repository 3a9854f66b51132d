package sample

import "enbloc/mapping/report"

var (
	vesselTools = []report.VesselTool{report.ToolForceps, report.ToolKnife, report.ToolClip}
	vesselSizes = []report.VesselSize{report.VesselSmall, report.VesselLarge}
	vesselWhens = []report.VesselWhen{report.BeforeCutting, report.AfterBleeding, report.AfterResection, report.CutWithoutCoag}
	bleedings   = []report.BleedingKind{report.Oozing, report.Spurting}
)

// bleed writes bleeding, vessels and the coagulation of the base.
func (s *session) bleed(r *report.Resection, c course) {
	r.BleedingOccurred = s.answer("bleeding", 0.35)
	if r.BleedingOccurred == report.Yes && s.has("spells") {
		for range s.whole(1, 2) {
			r.Bleeding = append(r.Bleeding, s.spell(c))
		}
	}
	if c.technique.Dissects() && s.has("vessels") {
		for range s.whole(1, 3) {
			r.Vessels = append(r.Vessels, s.vessel(r.BleedingOccurred != report.No))
		}
	}
	if c.technique.Dissects() && s.has("base") {
		r.Base = s.base(c)
	}
}

// vessel is one that was dealt with; after bleeding only where it bled.
func (s *session) vessel(bled bool) report.Vessel {
	v := report.Vessel{
		Size:  one(s.dice, "vessel size", vesselSizes, 0.6, 0.4),
		When:  one(s.dice, "vessel when", vesselWhens, 0.75, 0.15, 0.08, 0.02),
		With:  plain(s.dice, "vessel with", vesselTools, 0.5, 0.45, 0.05),
		Count: s.number("vessel count", float64(s.whole(1, 6)), 0),
		At:    s.optionalTime("vessel at", s.clock.Add(-minutes(5))),
	}
	if v.When == report.AfterBleeding && !bled {
		v.When = report.BeforeCutting
	}
	if v.When == report.CutWithoutCoag && s.bags == nil {
		v.Size = report.VesselSmall
	}
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
	b := &report.BaseCoagulation{Done: pick(s.dice, "base/done", givenAnswers, 1-yes, yes, 0.01)}
	if b.Done != report.Yes {
		return b
	}
	b.With = plain(s.dice, "base/with", vesselTools, 0.9, 0.08, 0.02)
	if span, timed := s.spans[report.StepBase]; timed {
		b.Start = s.optionalTime("base start", span[0])
		b.End = s.optionalTime("base end", span[1])
	}
	return b
}

var (
	closureMeans = []report.ClosureMean{
		report.CloseClip, report.CloseOTSC, report.CloseSuture, report.CloseLoop, report.CoverSheet, report.CoverGel,
	}
	closureResults = []report.ClosureResult{
		report.ClosureNone, report.ClosurePartial, report.ClosureComplete,
		report.ClosureResult(report.Unknown), report.ClosureResult(report.NotAssessed), report.ClosureResult(report.NotApplicable),
	}
)

// closes reports whether the defect is closed at least in part.
func (c course) closes() bool {
	return c.closed == report.ClosureComplete || c.closed == report.ClosurePartial
}

// closure writes how far and with what the defect was closed.
func (s *session) closure(c course) *report.Closure {
	if c.closed == "" {
		return nil
	}
	out := &report.Closure{Result: c.closed}
	if !c.closes() {
		return out
	}
	if s.has("closure means") {
		out.Means = some(s.dice, "closure mean", closureMeans, 1, 2)
	}
	if len(out.Means) == 0 || contains(out.Means, report.CloseClip) || contains(out.Means, report.CloseLoop) {
		out.Clips = s.number("clips", float64(s.whole(2, 9)), 0)
	}
	span := s.spans[report.StepClosure]
	out.Start = s.optionalTime("closure start", span[0])
	out.End = s.optionalTime("closure end", span[1])
	return out
}
