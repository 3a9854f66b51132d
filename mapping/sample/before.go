package sample

import (
	"time"

	"enbloc/mapping/report"
)

var (
	intents    = []report.Intent{report.IntentCurative, report.IntentDiagnostic, report.IntentRecurrence, report.IntentPalliative}
	asaClasses = []report.ASAClass{"2", "1", "3", "4", "5", "6"}
	pyloris    = []report.HPyloriStatus{report.HPyloriEradicated, report.HPyloriPositive, report.HPyloriNegative, report.HPyloriFailed}
	implants   = []report.ImplantedDevice{
		report.ImplantPacemaker, report.ImplantDefibrillator, report.ImplantNeuromodulator, report.ImplantOther,
	}
	precautions = []report.ImplantPrecaution{
		report.PrecautionReprogrammed, report.PrecautionMagnet, report.PrecautionTherapyOff, report.PrecautionBipolarOnly, report.PrecautionSpecialistSat, report.PrecautionNone,
	}
	electrodes = []report.ElectrodeSite{
		report.ElectrodeThighRight, report.ElectrodeThighLeft, report.ElectrodeButtockLeft, report.ElectrodeButtockRight,
		report.ElectrodeCalf, report.ElectrodeArm, report.ElectrodeBack, report.ElectrodeOther,
	}
)

// writeBefore fills in what was known before the endoscope went in.
func (s *session) writeBefore() {
	if !s.has("before") {
		return
	}
	b := &report.Before{
		Indication:           plain(s.dice, "indication", intents, 0.93, 0.04, 0.025, 0.005),
		IndicationText:       s.text("indication text", "Found at surveillance."),
		TechniqueReason:      s.text("technique reason", "One piece wanted for histology."),
		INR:                  s.number("inr", 0.9+0.4*s.rng.Float64(), 1),
		ThromboticRisk:       one(s.dice, "thrombotic risk", []report.RiskLevel{report.RiskLow, report.RiskHigh}, 0.8, 0.2),
		Haemodialysis:        s.answer("haemodialysis", 0.02),
		ASAClass:             one(s.dice, "asa", asaClasses, 0.55, 0.2, 0.24, 0.01, 0, 0),
		NeutralElectrodeSite: one(s.dice, "electrode", electrodes, 0.35, 0.35, 0.1, 0.1, 0.04, 0.03, 0.02, 0.01),
		FastingH:             s.number("fasting", float64(s.whole(6, 16)), 0),
	}
	s.implant(b)
	if s.kind == report.UpperEndoscopy {
		b.HPylori = one(s.dice, "pylori", pyloris, 0.4, 0.3, 0.25, 0.05)
	}
	if s.has("earlier") {
		for range s.whole(1, 2) {
			b.Earlier = append(b.Earlier, s.earlier())
		}
	}
	if b.Indication == report.IntentRecurrence {
		b.Earlier = append(b.Earlier, report.Earlier{Lesion: 1, Kind: report.EarlierResection, Date: s.earlierDate(), LocalRecurrence: report.Yes})
	}
	s.antithrombotics(b)
	if s.has("sedation") {
		b.Sedation = s.sedation()
	}
	if (s.kind == report.Colonoscopy || s.kind == report.Sigmoidoscopy) && s.has("boston") {
		b.Boston = &report.Boston{
			Right:      s.number("boston right", float64(s.whole(1, 3)), 0),
			Transverse: s.number("boston transverse", float64(s.whole(1, 3)), 0),
			Left:       s.number("boston left", float64(s.whole(1, 3)), 0),
		}
	}
	s.rep.Before = b
}

func (s *session) implant(b *report.Before) {
	if !s.rare("implant", 0.04) {
		b.Implant = one(s.dice, "no implant", []report.ImplantedDevice{report.ImplantNone})
		return
	}
	b.Implant = pick(s.dice, "implant/kind", implants, 0.6, 0.25, 0.05, 0.1)
	b.ImplantPrecaution = one(s.dice, "precaution", precautions, 0.3, 0.3, 0.2, 0.1, 0.08, 0.02)
}

// earlier is a biopsy nearly always, otherwise something done before.
func (s *session) earlier() report.Earlier {
	kinds := []report.EarlierKind{report.EarlierBiopsy, report.EarlierResection, report.EarlierSurgery, report.EarlierAblation}
	e := report.Earlier{
		Kind: pick(s.dice, "earlier/kind", kinds, s.even(0.93, 0.04, 0.01, 0.02)...),
		Text: s.text("earlier text", "In another hospital."),
	}
	if s.has("earlier lesion") {
		e.Lesion = 1
	}
	if s.has("earlier date") {
		e.Date = s.earlierDate()
	}
	if e.Kind == report.EarlierBiopsy {
		return e
	}
	e.LocalRecurrence = s.answer("recurrence", 0.3)
	if e.Kind == report.EarlierResection && s.courses[0].organ == report.Stomach {
		e.Indication = plain(s.dice, "earlier/indication", []report.EarlierIndication{report.EarlierAbsolute, report.EarlierExpanded, report.EarlierRelative})
		e.ECura = plain(s.dice, "earlier/ecura", []report.EarlierECura{report.EarlierECuraA, report.EarlierECuraC1, report.EarlierECuraB, report.EarlierECuraC2})
	}
	return e
}

// earlierDate is a day, a month or a year, as well as it is remembered.
func (s *session) earlierDate() report.Date {
	at := s.start.AddDate(0, 0, -s.whole(10, 60))
	layout := pick(s.dice, "date layout", []string{time.DateOnly, "2006-01", "2006"}, 0.7, 0.2, 0.1)
	if layout == "2006" {
		at = at.AddDate(-s.whole(1, 4), 0, 0)
	}
	return report.Date(local(at).Format(layout))
}

// agents of each class of antithrombotic.
var agents = map[report.DrugClass][]report.Agent{
	report.Aspirin:            {report.AgentAspirin},
	report.P2Y12:              {report.AgentClopidogrel, report.AgentPrasugrel, report.AgentTicagrelor},
	report.DOAC:               {report.AgentApixaban, report.AgentRivaroxaban, report.AgentEdoxaban, report.AgentDabigatran},
	report.Warfarin:           {report.AgentWarfarin},
	report.Cilostazol:         {report.AgentCilostazol},
	report.Heparin:            {report.AgentHeparin},
	report.LMWHeparin:         {report.AgentLMWHeparin},
	report.OtherAntiplatelet:  {report.AgentOther},
	report.OtherAnticoagulant: {report.AgentOther},
}

var (
	drugClasses = []report.DrugClass{
		report.Aspirin, report.P2Y12, report.DOAC, report.Warfarin, report.Cilostazol, report.Heparin, report.LMWHeparin,
		report.OtherAntiplatelet, report.OtherAnticoagulant,
	}
	drugShare   = []float64{0.42, 0.17, 0.22, 0.08, 0.05, 0.01, 0.02, 0.02, 0.01}
	managements = []report.DrugManagement{report.Interrupted, report.Continued, report.Replaced}
	bridgings   = []report.Bridging{report.BridgingNone, report.BridgingHeparin, report.BridgingLMWH}
)

// antithrombotics lists the drugs that about a quarter of the patients take.
func (s *session) antithrombotics(b *report.Before) {
	taken := s.rare("antithrombotic", 0.25)
	if !taken {
		b.AntithromboticHistory = one(s.dice, "drug history none", []report.AntithromboticHistory{report.HistoryNoneTaken})
		return
	}
	b.AntithromboticHistory = one(s.dice, "drug history", []report.AntithromboticHistory{report.HistoryComplete, report.HistoryIncomplete}, 0.97, 0.03)
	if b.AntithromboticHistory == report.AntithromboticHistory(report.NotApplicable) {
		b.AntithromboticHistory = report.HistoryComplete // there are drugs to list
	}
	for _, class := range some(s.dice, "drug class", drugClasses, 1, 3, s.even(drugShare...)...) {
		b.Antithrombotics = append(b.Antithrombotics, s.antithrombotic(class))
	}
}

func (s *session) antithrombotic(class report.DrugClass) report.Antithrombotic {
	drug := report.Antithrombotic{
		Class:      class,
		Agent:      plain(s.dice, "agent/"+string(class), agents[class]),
		Management: one(s.dice, "management", managements, s.even(0.6, 0.35, 0.05)...),
	}
	if drug.Management == report.Replaced {
		drug.ReplacedBy = s.substitute(class)
	}
	if drug.Management == report.Interrupted || drug.Management == report.Replaced {
		drug.Bridging = s.bridging(class)
		drug.LastDose = s.optionalTime("last dose", s.start.AddDate(0, 0, -s.whole(1, 7)))
		if s.has("planned restart") {
			drug.PlannedRestart = day(s.end, s.whole(1, 4))
		}
	}
	return drug
}

// bridging with heparin is for drugs against coagulation.
func (s *session) bridging(class report.DrugClass) report.Bridging {
	switch class {
	case report.Warfarin, report.DOAC, report.OtherAnticoagulant:
		return one(s.dice, "bridging", bridgings, 0.9, 0.05, 0.05)
	}
	return said(s.dice, "bridging/antiplatelet", report.BridgingNone)
}

// substitute is another class, or nothing.
func (s *session) substitute(class report.DrugClass) report.DrugClass {
	if other := plain(s.dice, "replaced by", drugClasses); other != class {
		return other
	}
	return ""
}

func without[T comparable](list []T, v T) []T {
	var out []T
	for _, had := range list {
		if had != v {
			out = append(out, had)
		}
	}
	return out
}
