package assess

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// answerOf asks one rule about the report.
func answerOf(t testing.TB, rule string, c *caseReport) Result {
	t.Helper()
	for _, r := range everything().Assess(c.Report) {
		if r.Rule == rule {
			return r
		}
	}
	require.Fail(t, "no answer", rule)
	return Result{}
}

func figure(text string) report.Number {
	n, err := report.NewNumber(text)
	if err != nil {
		panic(err)
	}
	return n
}

// stated is a start with one change made.
func stated(start func() *caseReport, change func(c *caseReport)) *caseReport {
	c := start()
	change(c)
	return c
}

// answers are rules that have no published case: each line names what the
// source says and where.
var answers = []struct {
	source, rule, want string
	given              *caseReport
}{
	// ESGE 2022 (Endoscopy 2022;54:591), squamous: sm1 up to 20 mm is low.
	{"ESGE squamous, sm1, 20 mm", "R5.oeso.scc.curability.esge2022", "low", squamousAt(report.PT1bSM1, "150", "20")},
	{"ESGE squamous, sm1, 200 µm (from memory)", "R5.oeso.scc.curability.esge2022", "low", squamousAt(report.PT1b, "200", "20")},
	{"ESGE squamous, 201 µm", "R5.oeso.scc.curability.esge2022", "high", squamousAt(report.PT1b, "201", "20")},
	{"ESGE squamous, sm1, 20.1 mm", "R5.oeso.scc.curability.esge2022", "undetermined", squamousAt(report.PT1bSM1, "150", "20.1")},
	{"ESGE squamous, SM2", "R5.oeso.scc.curability.esge2022", "high", squamousAt(report.PT1bSM2, "", "10")},
	{"ESGE squamous, m3, 20 mm (from memory)", "R5.oeso.scc.curability.esge2022", "low", squamousAt(report.PT1aMM, "", "20")},
	{"ESGE squamous, m3, 21 mm", "R5.oeso.scc.curability.esge2022", "undetermined", squamousAt(report.PT1aMM, "", "21")},
	{"ESGE squamous, m2, HM1", "R5.oeso.scc.curability.esge2022", "local", stated(deepLPM, func(c *caseReport) { c.histology().HorizontalMargin = report.Positive })},
	{"ESGE squamous, sm1, HM1", "R5.oeso.scc.curability.esge2022", "undetermined", stated(squamousSM1, func(c *caseReport) { c.histology().HorizontalMargin = report.Positive })},
	{"ESGE squamous, m2, VM1", "R5.oeso.scc.curability.esge2022", "high", stated(deepLPM, func(c *caseReport) { c.histology().VerticalMargin = report.Positive })},
	{"ESGE squamous, poorly differentiated", "R5.oeso.scc.curability.esge2022", "high", stated(deepLPM, func(c *caseReport) { c.histology().Grade = report.GradePoor })},
	{"ESGE squamous, vessels", "R5.oeso.scc.curability.esge2022", "high", stated(deepLPM, func(c *caseReport) { c.histology().VenousInvasion = report.Positive })},

	// Kitagawa, Esophagus 2023.
	{"JES 2022, LPM", "R5.oeso.scc.curability.jes2022", "follow-up", deepLPM()},
	{"JES 2022, LPM with vessels", "R5.oeso.scc.curability.jes2022", "undetermined", stated(deepLPM, func(c *caseReport) { c.histology().VenousInvasion = report.Positive })},
	{"JES 2022, MM", "R5.oeso.scc.curability.jes2022", "additional-treatment-to-be-considered", squamousAt(report.PT1aMM, "", "10")},
	{"JES 2022, MM with vessels", "R5.oeso.scc.curability.jes2022", "additional-treatment-recommended", stated(deepMM, func(c *caseReport) { c.histology().LymphaticInvasion = report.Positive })},
	{"JES 2022, SM", "R5.oeso.scc.curability.jes2022", "additional-treatment-recommended", squamousAt(report.PT1b, "", "10")},

	// JES/JGES (Mini-invasive Surg 2021;5:36) and Korea E7.
	{"JES, VM1", "R5.oeso.scc.curability.jes", "non-curative, further treatment recommended", stated(deepLPM, func(c *caseReport) { c.histology().VerticalMargin = report.Positive })},
	{"Korea E7, VM1", "R5.oeso.scc.curability.korea2020", "further-treatment", stated(deepLPM, func(c *caseReport) { c.histology().VerticalMargin = report.Positive })},
	{"Korea E7, SM", "R5.oeso.scc.curability.korea2020", "further-treatment", squamousAt(report.PT1b, "", "10")},
	{"Korea E7, vessels", "R5.oeso.scc.curability.korea2020", "further-treatment", stated(deepLPM, func(c *caseReport) { c.histology().VenousInvasion = report.Positive })},
	{"Korea E7, piecemeal", "R5.oeso.scc.curability.korea2020", "undetermined", stated(deepLPM, func(c *caseReport) { c.resection().Pieces = report.Int(2) })},

	// Minashi, Gastroenterology 2019 (JCOG0508).
	{"JCOG0508, pT1a", "R5.oeso.scc.jcog0508", "A", expectSM(deepLPM())},
	{"JCOG0508, pT1a with vessels", "R5.oeso.scc.jcog0508", "B", expectSM(stated(deepLPM, func(c *caseReport) { c.histology().VenousInvasion = report.Positive }))},
	{"JCOG0508, pT1b", "R5.oeso.scc.jcog0508", "B", expectSM(squamousSM1())},
	{"JCOG0508, VM1", "R5.oeso.scc.jcog0508", "C", expectSM(stated(squamousSM1, func(c *caseReport) { c.histology().VerticalMargin = report.Positive }))},

	// JES 2022: prevention from three quarters.
	{"JES stricture, 74.9%", "R5.oeso.stricture.jes2022", "not-triggered", defectOf("74.9")},
	{"JES stricture, 75%", "R5.oeso.stricture.jes2022", "recommended", defectOf("75")},
	{"JES stricture, 75.1%", "R5.oeso.stricture.jes2022", "recommended", defectOf("75.1")},

	// ESGE 2022, Barrett's oesophagus.
	{"ESGE Barrett, mucosal", "R5.oeso.eac.curability.esge2022", "very-low", barrettAt(report.PT1a, "")},
	{"ESGE Barrett, 500 µm (from memory)", "R5.oeso.eac.curability.esge2022", "low", barrettAt(report.PT1b, "500")},
	{"ESGE Barrett, 501 µm", "R5.oeso.eac.curability.esge2022", "high", barrettAt(report.PT1b, "501")},
	{"ESGE Barrett, SM1 step", "R5.oeso.eac.curability.esge2022", "low", barrettAt(report.PT1bSM1, "")},
	{"ESGE Barrett, SM2 step", "R5.oeso.eac.curability.esge2022", "high", barrettAt(report.PT1bSM2, "")},
	{"ESGE Barrett, HM1", "R5.oeso.eac.curability.esge2022", "local", stated(barrettT1a, func(c *caseReport) { c.histology().HorizontalMargin = report.Positive })},
	{"ESGE Barrett, SM1 and HM1", "R5.oeso.eac.curability.esge2022", "undetermined", stated(barrettSM1, func(c *caseReport) { c.histology().HorizontalMargin = report.Positive })},
	{"ESGE Barrett, VM1", "R5.oeso.eac.curability.esge2022", "high", stated(barrettT1a, func(c *caseReport) { c.histology().VerticalMargin = report.Positive })},
	{"ESGE Barrett, vessels", "R5.oeso.eac.curability.esge2022", "high", stated(barrettT1a, func(c *caseReport) { c.histology().VenousInvasion = report.Positive })},
	{"ESGE Barrett, poor grade", "R5.oeso.eac.curability.esge2022", "high", stated(barrettT1a, func(c *caseReport) { c.histology().Grade = report.GradePoor })},
	{"review, poor grade", "R5.oeso.eac.curability", "outside", stated(barrettT1a, func(c *caseReport) { c.histology().Grade = report.GradePoor })},

	// ESGE 2022, ESD in Barrett's oesophagus; ESGE 2023, surveillance.
	{"ESGE Barrett ESD, 0-IIc", "R5.oeso.eac.technique.esge2022", "ESD-suggested", barrettSeen(report.Paris0IIc, report.No, "10")},
	{"ESGE Barrett ESD, malignant 21 mm", "R5.oeso.eac.technique.esge2022", "ESD-suggested", barrettSeen(report.Paris0IIa, report.Yes, "21")},
	{"ESGE Barrett ESD, malignant 20 mm", "R5.oeso.eac.technique.esge2022", "not-named", barrettSeen(report.Paris0IIa, report.Yes, "20")},
	{"ESGE Barrett ESD, benign 30 mm", "R5.oeso.eac.technique.esge2022", "not-named", barrettSeen(report.Paris0IIa, report.No, "30")},
	{"ESGE 2023, 0.9 cm", "R5.oeso.barrett.surveillance.esge2023", "none-named", prague("0.9")},
	{"ESGE 2023, 1 cm", "R5.oeso.barrett.surveillance.esge2023", "5y", prague("1")},
	{"ESGE 2023, 2.9 cm", "R5.oeso.barrett.surveillance.esge2023", "5y", prague("2.9")},
	{"ESGE 2023, 3 cm", "R5.oeso.barrett.surveillance.esge2023", "3y", prague("3")},
	{"ESGE 2023, 9.9 cm", "R5.oeso.barrett.surveillance.esge2023", "3y", prague("9.9")},
	{"ESGE 2023, 10 cm", "R5.oeso.barrett.surveillance.esge2023", "expert-centre", prague("10")},

	// JES/JGES indication.
	{"JES indication, nodes", "R5.oeso.scc.indication.jes", "not-by-this-rule", squamousSeenAt(report.PredictT1aEPLPM, report.No, report.ClinicalNPresent)},
	{"JES indication, EP/LPM", "R5.oeso.scc.indication.jes", "indicated", squamousSeenAt(report.PredictT1aEPLPM, report.No, report.ClinicalN0)},
	{"JES indication, SM1 step", "R5.oeso.scc.indication.jes", "indicated", squamousSeenAt(report.PredictT1bSM1, report.No, report.ClinicalN0)},
	{"JES indication, SM2", "R5.oeso.scc.indication.jes", "not-by-this-rule", squamousSeenAt(report.PredictT1bSM2, report.No, report.ClinicalN0)},

	// ESGE 2022, colorectum.
	{"ESGE colorectal, 1000 µm (from memory)", "R6.colorectal.t1.esge2022", "low", colonAt("1000")},
	{"ESGE colorectal, 1001 µm", "R6.colorectal.t1.esge2022", "high", colonAt("1001")},
	{"ESGE colorectal, 999 µm", "R6.colorectal.t1.esge2022", "low", colonAt("999")},
	{"ESGE colorectal, sm1 piecemeal", "R6.colorectal.t1.esge2022", "undetermined", stated(colonShallow, func(c *caseReport) { c.resection().Pieces = report.Int(2) })},
	{"ESGE colorectal, vessels", "R6.colorectal.t1.esge2022", "high", stated(colonShallow, func(c *caseReport) { c.histology().LymphaticInvasion = report.Positive })},
	{"ESGE colorectal, poor grade", "R6.colorectal.t1.esge2022", "high", stated(colonShallow, func(c *caseReport) { c.histology().Grade = report.GradePoor })},
	{"ESGE colorectal, budding counted", "R6.colorectal.t1.esge2022", "high", stated(colonShallow, countBuds("5"))},
	{"ESGE colorectal, 4 buds counted", "R6.colorectal.t1.esge2022", "low", stated(colonShallow, countBuds("4"))},
	{"JSCCR, budding counted", "R6.colorectal.t1.jsccr", "consider-surgery", stated(colonShallow, countBuds("5"))},
	{"JSCCR, poor grade of the dominant part", "R6.colorectal.t1.jsccr", "consider-surgery", stated(colonShallow, func(c *caseReport) {
		c.histology().WorstGrade, c.histology().Grade = "", report.GradePoor
	})},
	{"JSCCR, pTis", "R6.colorectal.t1.jsccr", NotApplicable, stated(colonShallow, func(c *caseReport) { c.histology().PT, c.histology().DepthUm = report.PTis, report.Number{} })},

	// Kudo from memory; type VI from World J Gastroenterol 2008;14:211.
	{"Kudo I", "R6.colorectal.kudo", "non-neoplastic", pitted(report.KudoI)},
	{"Kudo IV", "R6.colorectal.kudo", "adenoma", pitted(report.KudoIV)},
	{"Kudo VN", "R6.colorectal.kudo", "invasive", pitted(report.KudoVN)},
	{"type VN", "R6.colorectal.kudo_vi", "massive-SM", pitted(report.KudoVN)},
	{"type VI severe", "R6.colorectal.kudo_vi", "massive-SM", pitted(report.KudoVISevere)},
	{"type VI mild", "R6.colorectal.kudo_vi", "dysplasia-or-shallow-SM", pitted(report.KudoVIMild)},

	// Bogie, Endoscopy 2018, by size; Hisabe, Endosc Int Open 2018.
	{"LST 9.9 mm", "R8.colorectal.lst_smi_size", "not-a-spreading-tumour", spreading("9.9")},
	{"LST 10 mm", "R8.colorectal.lst_smi_size", "4.6%", spreading("10")},
	{"LST 19.9 mm", "R8.colorectal.lst_smi_size", "4.6%", spreading("19.9")},
	{"LST 20 mm", "R8.colorectal.lst_smi_size", "9.2%", spreading("20")},
	{"LST 29.9 mm", "R8.colorectal.lst_smi_size", "9.2%", spreading("29.9")},
	{"LST 30 mm", "R8.colorectal.lst_smi_size", "16.5%", spreading("30")},
	{"Hisabe, one sign", "R8.colorectal.nes", "SM 1000 µm or more", stated(colonSeen, func(c *caseReport) { c.seen().RigidArc = report.Yes })},
	{"Hisabe, none", "R8.colorectal.nes", "SM below 1000 µm", stated(colonSeen, func(c *caseReport) {
		c.seen().RigidArc, c.seen().TrapezoidElevation, c.seen().ConvergingFolds = report.No, report.No, report.No
	})},
	{"endosonography", "R8.gastric.eus", "submucosa", stated(gastricLesion, func(c *caseReport) { c.seen().EUSDepth = report.LayerSubmucosa })},
	{"MESDA-G, vessels hidden, surface regular", "R8.gastric.vs", "undetermined", stated(gastricLesion, func(c *caseReport) {
		c.seen().Demarcation, c.seen().MicroVessel, c.seen().MicroSurf = report.Yes, report.PatternAbsent, report.PatternRegular
	})},

	// ESGE 2022, technique.
	{"ESGE gastric, small 0-IIa (from memory)", "R1.gastric.technique.esge2022", "EMR-acceptable", gastricSeen(report.Paris0IIa, report.No, "10")},
	{"ESGE gastric, 10.1 mm", "R1.gastric.technique.esge2022", "ESD-treatment-of-choice", gastricSeen(report.Paris0IIa, report.No, "10.1")},
	{"ESGE gastric, depressed", "R1.gastric.technique.esge2022", "ESD-treatment-of-choice", gastricSeen(report.Paris0IIc, report.No, "5")},
	{"ESGE colorectal ESD, depressed", "R6.colorectal.technique.esge2022", "ESD-may-be-considered", stated(colonSeen, func(c *caseReport) {
		c.seen().Paris, c.seen().LST = []report.ParisType{report.Paris0IIa, report.Paris0IIc}, report.LSTFlatElevated
	})},
	{"ESGE colorectal ESD, flat", "R6.colorectal.technique.esge2022", "not-named", stated(colonSeen, func(c *caseReport) {
		c.seen().Paris, c.seen().LST = []report.ParisType{report.Paris0IIa}, report.LSTFlatElevated
	})},
	{"ESGE colorectal ESD, nodule", "R6.colorectal.technique.esge2022", "ESD-may-be-considered", stated(colonSeen, func(c *caseReport) {
		c.seen().Paris, c.seen().LST = []report.ParisType{report.Paris0IIa}, report.LSTGranularMixed
	})},
	{"duodenum, ampullary", "R7.duodenum.esge2021", "not-by-this-rule", stated(func() *caseReport { return blank(report.Duodenum) }, func(c *caseReport) { c.seen().Site = report.SiteMajorPapilla })},

	// Libânio, Endosc Int Open 2017;5:E563: a fall above 2.0 g/dL.
	{"haemoglobin fell by 1.9", "R9.ae.hb_fall", "not-met", bledBy("12.0", "10.1")},
	{"haemoglobin fell by exactly 2.0", "R9.ae.hb_fall", "not-met", bledBy("12.1", "10.1")},
	{"haemoglobin fell by 2.1", "R9.ae.hb_fall", "met", bledBy("12.2", "10.1")},

	// JGES 2nd edition, after the grade; JGES/JGCA surveillance.
	{"after A", "R2.gastric.next.jges2020", "surveillance", gradedA()},
	{"after B", "R2.gastric.next.jges2020", "surveillance-with-imaging", stated(gradedA, intoSM("300"))},
	{"after C-1", "R2.gastric.next.jges2020", "local-options", stated(gradedA, inTwo)},
	{"after C-1 in the submucosa", "R2.gastric.next.jges2020", "local-options-or-surgery", stated(func() *caseReport { return stated(gradedA, inTwo) }, intoSM("300"))},
	{"after C-2", "R2.gastric.next.jges2020", "additional-gastrectomy-in-principle", stated(gradedA, intoSM("500"))},
	{"surveillance A", "R11.surveillance.gastric.jges2020", "endoscopy-6-to-12mo", gradedA()},
	{"surveillance B", "R11.surveillance.gastric.jges2020", "endoscopy-6-to-12mo-and-imaging", stated(gradedA, intoSM("300"))},
	{"surveillance C-2", "R11.surveillance.gastric.jges2020", "by-decision", stated(gradedA, intoSM("500"))},
	{"score of a curative lesion", "R3.gastric.lnm.ecura_score", NotApplicable, gradedA()},
	{"curative by JGES", "R10.metric.curative.jges2020", "yes", stated(gradedA, intoSM("499"))},
	{"not curative by JGES at 500", "R10.metric.curative.jges2020", "no", stated(gradedA, intoSM("500"))},
	{"curative by ESGE at 500", "R10.metric.curative.esge2022", "yes", stated(gradedA, intoSM("500"))},
	{"local risk is not curative by ESGE", "R10.metric.curative.esge2022", "no", stated(gradedA, inTwo)},
	{"curative by JES", "R10.metric.curative.jes", "yes", deepLPM()},
	{"not curative by JES", "R10.metric.curative.jes", "no", deepMM()},
	{"colorectal cancer, 1 year (ESGE/ESDO 2019)", "R11.surveillance.colorectal_cancer.esge2019", "1y", colonShallow()},
	{"piecemeal, 6 months (JGES)", "R11.surveillance.piecemeal.jges", "6mo", stated(colonShallow, func(c *caseReport) { c.resection().Pieces = report.Int(2) })},
	{"one piece (JGES)", "R11.surveillance.piecemeal.jges", "not-by-this-rule", colonShallow()},
	{"H. pylori present", "R11.surveillance.gastric.h_pylori", "eradication", stated(gradedA, func(c *caseReport) { c.Before = &report.Before{HPylori: report.HPyloriPositive} })},
	{"H. pylori unknown is no negative", "R11.surveillance.gastric.h_pylori", "test", stated(gradedA, func(c *caseReport) { c.Before = &report.Before{HPylori: report.HPyloriStatus(report.Unknown)} })},
	{"H. pylori negative", "R11.surveillance.gastric.h_pylori", "none", stated(gradedA, func(c *caseReport) { c.Before = &report.Before{HPylori: report.HPyloriNegative} })},
	{"gastric surveillance (from memory)", "R11.surveillance.gastric.esge", "3-6mo-then-yearly", gradedA()},

	// Definitions (Korea 2020, Table 1; ESGE wording).
	{"R0", "R10.metric.r0", "yes", gradedA()},
	{"piecemeal is not R0", "R10.metric.r0", "no", stated(gradedA, inTwo)},
	{"piecemeal may be complete in Korea", "R10.metric.complete.korea2020", "yes", stated(gradedA, inTwo)},
	{"RX is neither R0 nor R1", "R10.metric.r0", CannotBeAssessed, stated(gradedA, func(c *caseReport) { c.histology().HorizontalMargin = report.CannotBeAssessed })},
	{"HM1 is not complete", "R10.metric.complete.korea2020", "no", stated(gradedA, func(c *caseReport) { c.histology().HorizontalMargin = report.Positive })},
	{"visible residual is not en bloc", "R10.metric.en_bloc", "no", stated(gradedA, func(c *caseReport) { c.resection().VisibleResidual = report.Yes })},
	{"a complete resection left nothing", "R10.metric.en_bloc", "yes", stated(gradedA, func(c *caseReport) {
		c.resection().VisibleResidual, c.resection().Completion = "", report.CompletionComplete
	})},
	{"an abandoned one left something", "R10.metric.en_bloc", "no", stated(gradedA, func(c *caseReport) {
		c.resection().VisibleResidual, c.resection().Completion = "", report.CompletionAbandoned
	})},

	// ASGE and AGREE criteria that the cases do not name.
	{"ASGE fatal", "R9.ae.asge2010", "fatal", eventWith(func(e *report.Event) { e.Outcome = report.OutcomeFatal })},
	{"ASGE ventilation", "R9.ae.asge2010", "moderate", eventWith(func(e *report.Event) { interventions(e, report.InterveneVentilation) })},
	{"ASGE consultation", "R9.ae.asge2010", "mild", eventWith(func(e *report.Event) { e.UnplannedContact = report.ContactClinic })},
	{"ASGE units count as transfusion", "R9.ae.asge2010", "moderate", eventWith(func(e *report.Event) { e.Transfusion, e.TransfusionUnits = "", report.Int(2) })},
	{"AGREE drugs", "R9.ae.agree2022", "II", eventWith(func(e *report.Event) { e.Drugs = report.DrugsOther })},
	{"AGREE supportive drugs", "R9.ae.agree2022", "I", eventWith(func(e *report.Event) { e.Drugs = report.DrugsSupportive })},
	{"AGREE outpatient visit", "R9.ae.agree2022", "none", eventWith(func(e *report.Event) { e.UnplannedContact = report.ContactClinic })},
	{"closure in the session is no second intervention", "R9.ae.agree2022", "none", eventWith(func(e *report.Event) {
		e.Timing = report.DuringSession
		interventions(e, report.InterveneClosure)
		e.Interventions[0].At = moment(-time.Hour)
	})},
	{"closure after the session is one", "R9.ae.agree2022", "IIIa", eventWith(func(e *report.Event) {
		e.Timing = report.DuringSession
		interventions(e, report.InterveneClosure)
		e.Interventions[0].At = moment(time.Hour)
	})},
	{"closure at an unknown time is unknown", "R9.ae.agree2022", CannotBeAssessed, eventWith(func(e *report.Event) {
		e.Timing = report.DuringSession
		interventions(e, report.InterveneClosure)
	})},

	// Surveillance criteria that the cases do not name.
	{"ESGE, high-grade dysplasia", "R11.surveillance.esge2020", "3y", stated(polypCase, func(c *caseReport) { c.histology().Dysplasia = report.DysplasiaHigh })},
	{"ESGE, serrated 10 mm", "R11.surveillance.esge2020", "3y", stated(polypCase, serratedOf("10"))},
	{"ESGE, serrated 9.9 mm", "R11.surveillance.esge2020", "return-to-screening", stated(polypCase, serratedOf("9.9"))},
	{"ESGE, serrated with dysplasia", "R11.surveillance.esge2020", "3y", stated(polypCase, func(c *caseReport) { c.histology().Types[0] = report.TypeSSLDysplasia })},
	{"ESGE, a lesion not read", "R11.surveillance.esge2020", CannotBeAssessed, stated(polypCase, func(c *caseReport) { c.lesion().Histology = nil })},
	{"MSTF, villous", "R11.surveillance.usmstf2020", "3y", stated(polypCase, func(c *caseReport) { c.histology().Types[0] = report.TypeTubulovillous })},
	{"MSTF, high-grade dysplasia", "R11.surveillance.usmstf2020", "3y", stated(polypCase, func(c *caseReport) { c.histology().Dysplasia = report.DysplasiaHigh })},
}

// TestAnswers asks the rules that have no published case.
func TestAnswers(t *testing.T) {
	t.Parallel()
	for _, a := range answers {
		got := answerOf(t, a.rule, a.given)
		require.Equal(t, a.want, got.Answer, "%s: %s (%s)", a.source, a.rule, got.Reason)
	}
}

// Reports for the table above.

func squamousAt(pt report.PT, um, size string) *caseReport {
	c := squamousCase()
	c.histology().PT, c.histology().TumourLongMm = pt, figure(size)
	if um != "" {
		c.histology().DepthUm = figure(um)
	}
	return c
}

func deepLPM() *caseReport     { return squamousAt(report.PT1aLPM, "", "15") }
func deepMM() *caseReport      { return squamousAt(report.PT1aMM, "", "15") }
func squamousSM1() *caseReport { return squamousAt(report.PT1bSM1, "150", "15") }

func expectSM(c *caseReport) *caseReport {
	c.seen().PredictedDepth = report.PredictT1b
	return c
}

func defectOf(pct string) *caseReport {
	return stated(squamousCase, func(c *caseReport) { c.resection().DefectCircumferencePct = figure(pct) })
}

func barrettAt(pt report.PT, um string) *caseReport {
	c := barrettCase()
	c.histology().PT, c.histology().Grade, c.histology().TumourLongMm = pt, report.GradeWell, figure("15")
	if um != "" {
		c.histology().DepthUm = figure(um)
	}
	return c
}

func barrettT1a() *caseReport { return barrettAt(report.PT1a, "") }
func barrettSM1() *caseReport { return barrettAt(report.PT1bSM1, "") }

func barrettSeen(p report.ParisType, malignant report.Answer, size string) *caseReport {
	c := blank(report.Oesophagus)
	c.seen().Mucosa = report.Barrett
	c.seen().Paris, c.seen().SuspectMalignant, c.seen().SizeLongMm = []report.ParisType{p}, malignant, figure(size)
	return c
}

func gastricSeen(p report.ParisType, malignant report.Answer, size string) *caseReport {
	c := barrettSeen(p, malignant, size)
	c.seen().Organ, c.seen().Mucosa = report.Stomach, ""
	return c
}

func prague(m string) *caseReport {
	c := blank(report.Oesophagus)
	c.seen().Mucosa, c.seen().PragueMCm = report.Barrett, figure(m)
	return c
}

func squamousSeenAt(d report.PredictedDepth, round report.Answer, n report.ClinicalN) *caseReport {
	c := squamousSeen()
	c.seen().PredictedDepth, c.seen().Circumferential, c.seen().ClinicalN, c.seen().AxialLengthMm = d, round, n, figure("20")
	return c
}

func colonAt(um string) *caseReport {
	c := colonT1()
	c.histology().DepthUm = figure(um)
	return c
}

func colonShallow() *caseReport { return colonAt("300") }

func countBuds(n string) func(*caseReport) {
	return func(c *caseReport) {
		c.histology().Budding, c.histology().BuddingCount, c.histology().BuddingFieldMm2 = "", figure(n), figure("0.785")
	}
}

func pitted(k report.Kudo) *caseReport {
	return stated(colonSeen, func(c *caseReport) { c.seen().Kudo = []report.Kudo{k} })
}

func spreading(size string) *caseReport {
	return stated(colonSeen, func(c *caseReport) { c.seen().LST, c.seen().SizeLongMm = report.LSTFlatElevated, figure(size) })
}

func bledBy(before, after string) *caseReport {
	c := uneventful(report.EventBleeding, report.Stomach)()
	e := c.event()
	e.Symptoms, e.Unstable, e.HbBeforeGDl, e.HbAfterGDl = []report.Symptom{report.Pain}, report.No, figure(before), figure(after)
	return c
}

func gradedA() *caseReport {
	c := specimen(report.Stomach)
	h := c.histology()
	h.Types, h.PT, h.TumourLongMm, h.Ulcer = []report.HistologyType{report.TypeTub1}, report.PT1a, figure("18"), report.UlcerAbsent
	return c
}

func intoSM(um string) func(*caseReport) {
	return func(c *caseReport) { c.histology().PT, c.histology().DepthUm = report.PT1b, figure(um) }
}

func inTwo(c *caseReport) { c.resection().Pieces = report.Int(2) }

func eventWith(change func(e *report.Event)) *caseReport {
	c := uneventful(report.EventOther, report.Stomach)()
	change(c.event())
	return c
}

func interventions(e *report.Event, kind report.InterventionKind) {
	e.InterventionNeeded, e.Interventions = "", []report.Intervention{{Kind: kind}}
}

func serratedOf(size string) func(*caseReport) {
	return func(c *caseReport) {
		c.histology().Types[0], c.histology().Dysplasia, c.seen().SizeLongMm = report.TypeSSL, report.DysplasiaNone, figure(size)
	}
}
