package sample

import "enbloc/mapping/report"

// steps writes marking, injections, incision, knives and settings.
func (s *session) steps(r *report.Resection, c course) {
	knife := c.technique.Dissects() || c.technique == report.PrecutEMR
	if knife {
		r.Marking = s.marking()
		r.Incision = s.incision(c)
		r.Knives = some(s.dice, "knife", knives, 1, 2)
		if c.technique != report.ESD && s.has("snare") {
			r.Knives = append(r.Knives, report.Snare)
		}
	}
	if c.technique.Dissects() {
		r.Trimming = s.answer("trimming", 0.7)
	}
	if c.technique != report.ColdSnare && c.technique != report.UnderwaterEMR && s.has("injections") {
		r.Injections = s.injections(c)
	}
	if c.technique != report.ColdSnare && s.has("settings") {
		r.Settings = s.settings(r, c)
		s.listInstruments(r)
	}
}

var (
	knives = []report.Instrument{
		report.KnifeNeedleJet, report.KnifeInsulatedTip, report.KnifeNeedle, report.KnifeScissor, report.KnifeHook,
	}
	injectates = []report.Injectate{
		report.InjectHyaluronate, report.InjectGlycerol, report.InjectSaline, report.InjectSuccinylated, report.InjectStarch, report.InjectViscousOther,
	}
	dyes  = []report.InjectateDye{report.AddIndigoCarmine, report.AddAdrenaline, report.AddMethyleneBlue}
	sides = []report.Side{report.FarSide, report.NearSide, report.LeftSide, report.RightSide}
	lifts = []report.Lift{report.LiftGood, report.LiftFair, report.LiftPoor, report.LiftNone}
)

func (s *session) marking() *report.Marking {
	if !s.has("marking") {
		return nil
	}
	m := &report.Marking{Done: pick(s.dice, "marking/done", givenAnswers, 0.05, 0.93, 0.02)}
	if m.Done == report.Yes {
		m.DistanceMm = s.number("marking distance", float64(s.whole(3, 6)), 0)
		m.OralSideMarked = s.answer("oral side", 0.8)
	}
	return m
}

// injections begin partial in the colon, where space is small.
func (s *session) injections(c course) []report.Injection {
	extents := []report.Extent{report.Circumferential, report.Partial}
	share := []float64{0.8, 0.2}
	if c.organ.Colorectal() {
		share = []float64{0.05, 0.95}
	}
	first := report.Injection{
		Agent:     pick(s.dice, "injectate", injectates, 0.5, 0.2, 0.1, 0.1, 0.05, 0.05),
		VolumeML:  s.number("volume", float64(s.whole(8, 50)), 0),
		FirstSide: one(s.dice, "first side", sides, 0.6, 0.3, 0.05, 0.05),
		Extent:    one(s.dice, "injection extent", extents, share...),
		Lift:      one(s.dice, "lift", lifts, 0.8, 0.13, 0.06, 0.01),
		Timing:    plain(s.dice, "injection timing", []report.InjectionTiming{report.InjectionInitial}),
		GivenAt:   s.optionalTime("injection time", s.began.Add(minutes(2))),
	}
	if s.has("additives") {
		first.Additives = some(s.dice, "additive", dyes, 1, 2)
	}
	out := []report.Injection{first}
	for range s.whole(0, 2) {
		out = append(out, report.Injection{Agent: first.Agent, VolumeML: figure(float64(s.whole(3, 15)), 0), Timing: report.InjectionRepeat})
	}
	return out
}

func (s *session) incision(c course) *report.Incision {
	if !s.has("incision") {
		return nil
	}
	share := []float64{0.85, 0.15}
	if c.organ.Colorectal() {
		share = []float64{0.05, 0.95}
	}
	return &report.Incision{
		Extent: one(s.dice, "incision extent", []report.Extent{report.Circumferential, report.Partial}, share...),
		Began:  one(s.dice, "incision began", sides, 0.5, 0.4, 0.05, 0.05),
	}
}

// preset is an invented but usual combination of one step.
type preset struct {
	step       report.Step
	instrument report.Instrument
	outputs    []report.Output
	watts      [2]int
}

// presets of the steps without a knife of their own choice. An insulated-tip
// knife is run near 90 W, a needle-type one near 45 W in a dissecting
// coagulation output; common practice, no source.
var (
	snarePreset  = preset{report.StepSnaring, report.Snare, []report.Output{report.OutputBlendedCut, report.OutputPulsedCut, report.OutputPureCut}, [2]int{100, 120}}
	otherPresets = []preset{
		{report.StepHaemostasis, report.HaemoForceps, []report.Output{report.OutputSoftCoag, report.OutputBipolarCoag}, [2]int{50, 80}},
		{report.StepBase, report.HaemoForceps, []report.Output{report.OutputSoftCoag}, [2]int{50, 80}},
		{report.StepTrimming, report.KnifeNeedle, []report.Output{report.OutputDissectingCoag}, [2]int{40, 50}},
		{report.StepMarking, report.PlasmaProbe, []report.Output{report.OutputArgonPlasma}, [2]int{20, 40}},
		{report.StepClosure, report.HaemoForceps, []report.Output{report.OutputSoftCoag}, [2]int{50, 80}},
		{report.StepInjection, report.KnifeNeedleJet, []report.Output{report.OutputSoftCoag}, [2]int{20, 40}},
	}
	coagulating = []report.Output{report.OutputDissectingCoag, report.OutputForcedCoag, report.OutputSprayCoag}
	cutting     = []report.Output{report.OutputPulsedCut, report.OutputPureCut, report.OutputBlendedCut}
)

// settings writes one setting for each main step and now and then another.
func (s *session) settings(r *report.Resection, c course) []report.Setting {
	var out []report.Setting
	for _, stretch := range c.stretches() {
		switch stretch.step {
		case report.StepSnaring:
			out = append(out, s.setting(snarePreset, "snare"))
		case report.StepIncision:
			out = append(out, s.setting(preset{report.StepIncision, r.Knives[0], cutting, [2]int{45, 60}}, "cut"))
		case report.StepDissection:
			knife := r.Knives[0]
			watts := [2]int{40, 48}
			if knife == report.KnifeInsulatedTip {
				watts = [2]int{85, 95}
			}
			out = append(out, s.setting(preset{report.StepDissection, knife, coagulating, watts}, "dissect"))
		}
	}
	if s.rare("other setting", 0.5) {
		out = append(out, s.setting(s.otherPreset(c), "other"))
	}
	return out
}

// otherPreset is one of the lesser steps; with a snare only haemostasis.
func (s *session) otherPreset(c course) preset {
	if !c.technique.Dissects() {
		return otherPresets[0]
	}
	return pick(s.dice, "other setting", otherPresets, 0.5, 0.4, 0.05, 0.02, 0.02, 0.01)
}

// listInstruments adds those of the settings to the instruments used.
func (s *session) listInstruments(r *report.Resection) {
	for _, setting := range r.Settings {
		if setting.Instrument != "" && !contains(r.Knives, setting.Instrument) {
			r.Knives = append(r.Knives, setting.Instrument)
		}
	}
}

func (s *session) setting(p preset, name string) report.Setting {
	out := report.Setting{
		Step:       p.step,
		Instrument: plain(s.dice, "instrument/"+name+string(p.instrument), []report.Instrument{p.instrument}),
		Output:     plain(s.dice, "output/"+name+string(p.step), p.outputs),
		Effect:     s.number("effect", float64(s.whole(1, 5)), 0),
		MaxW:       s.number("watts", float64(s.whole(p.watts[0], p.watts[1])), 0),
	}
	if s.has("generator") {
		out.Generator = &report.Identifier{System: "https://hospital.example/sid/asset", Value: "HTEST-GENERATOR-" + string(rune('A'+s.rng.IntN(3)))}
	}
	return out
}
