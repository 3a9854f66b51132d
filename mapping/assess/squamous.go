package assess

import "enbloc/mapping/report"

// sm1Squamous is the greatest depth of SM1 in the squamous oesophagus, in µm.
// One table prints "below 200" and "above 200"; exactly 200 is taken as SM1.
const sm1Squamous = 200

// squamousFacts are the inputs of squamous curability.
type squamousFacts struct {
	beyondLPM, beyondMM, grade, size, depth, hm, vm *finding
	bloc                                            oneBloc
	vessels                                         invasion
}

func gatherSquamous(k *look) squamousFacts {
	f := squamousFacts{
		vessels: k.invasion(), vm: k.verticalMargin(), hm: k.horizontalMargin(), bloc: k.oneBloc(),
		depth: k.depth(sm1Squamous), grade: k.wellOrModerate(), size: k.tumourSize(),
	}
	f.beyondLPM, f.beyondMM = k.squamousStep()
	return f
}

// squamousStep reads the layer that the cancer reaches: beyond the lamina
// propria (m3 or deeper), and beyond the muscularis mucosae (submucosa).
func (k *look) squamousStep() (beyondLPM, beyondMM *finding) {
	h := k.histology()
	lpm, mm := unknown, unknown
	um, measured := h.DepthUm.Value()
	switch {
	case h.PT.Submucosal() || h.PT == report.PT2 || h.PT == report.PTDeeper || measured && um > 0:
		lpm, mm = yes, yes
	case h.PT == report.PTis || h.PT == report.PT1aEP || h.PT == report.PT1aLPM:
		lpm, mm = no, no
	case h.PT == report.PT1aMM:
		lpm, mm = yes, no
	case h.PT == report.PT1a:
		mm = no
	case h.PT == "" && k.nature() == premalignant:
		lpm, mm = no, no // squamous intraepithelial neoplasia stays in the epithelium
	}
	reason, at := why(report.AbsenceOf(h.PT)), "/histology/pt"
	switch {
	case h.PT == report.PT1a && lpm == unknown:
		reason = "not divided into EP, LPM and MM"
	case measured && um > 0:
		at = "/histology/depth_um"
	case h.PT == "" && lpm != unknown:
		at = "/histology/types/0"
	}
	return k.sign(at, "layer reached", lpm, reason, "muscularis mucosae or deeper", "EP or LPM"),
		k.sign(at, "layer reached", mm, reason, "submucosa", "within the mucosa")
}

func (f squamousFacts) incomplete() fact { return anyOf(f.hm.yes(), not(f.bloc.whole())) }

func curable(curative bool, additional string) map[string]any {
	return map[string]any{"curative": curative, "additional": additional}
}

// JES/JGES position as reviewed in Mini-invasive Surg 2021;5:36; the row on
// the vertical margin from a transcription of the JGES guideline of 2020.
var ruleSquamousJES = ofNeoplasia(listed(rule{
	id: "R5.oeso.scc.curability.jes", title: "Curability of the squamous resection (JES/JGES)",
	from: jesJGES, confirmed: SecondHand, scope: ScopeLesion, applies: squamousSpecimen,
	cautions: []string{"pMM without vessel invasion is judged differently elsewhere: JES 2022, Korea 2020, JCOG0508 and ESGE each answer for themselves."},
}, "", gatherSquamous, []row[squamousFacts]{
	{when: "pT1b, any submucosal invasion", then: "non-curative, further treatment recommended", values: curable(false, "recommended"),
		is:     func(f squamousFacts) fact { return f.beyondMM.yes() },
		reason: "The cancer has reached the submucosa: not curative, and additional treatment is recommended"},
	{when: "vascular invasion", then: "non-curative, further treatment recommended", values: curable(false, "recommended"),
		is:     func(f squamousFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: not curative, and additional treatment is recommended"},
	{when: "vertical margin positive", then: "non-curative, further treatment recommended", values: curable(false, "recommended"),
		confirmed: Transcription, is: func(f squamousFacts) fact { return f.vm.yes() },
		reason:  "The vertical margin is positive: not curative, definitive chemoradiotherapy or surgery is named",
		caution: "The transcription says \"positive margin\" without saying which; Korea 2020 and JCOG0508 agree for the vertical one."},
	{when: "pMM, no vascular invasion", then: "non-curative, further treatment undetermined", values: curable(false, "undetermined"),
		is:     func(f squamousFacts) fact { return f.beyondLPM.yes() },
		reason: "The cancer reaches the muscularis mucosae without vessel invasion: not curative, and whether to treat further is undetermined"},
	{when: "pEP or pLPM, no vascular invasion", then: "curative", values: curable(true, "none"),
		is:     func(squamousFacts) fact { return always() },
		reason: "The cancer stays within epithelium and lamina propria without vessel invasion: curative"},
}))

// Korean guideline 2020, statement E7.
var ruleSquamousKorea = ofNeoplasia(listed(rule{
	id: "R5.oeso.scc.curability.korea2020", title: "After the squamous resection (Korea, E7)",
	from: korea2020, confirmed: Primary, scope: ScopeLesion, applies: squamousSpecimen,
}, "management", gatherSquamous, []row[squamousFacts]{
	{when: "submucosal invasion", then: "further-treatment", is: func(f squamousFacts) fact { return f.beyondMM.yes() },
		reason: "The cancer has reached the submucosa: further treatment"},
	{when: "lymphovascular invasion", then: "further-treatment", is: func(f squamousFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: further treatment"},
	{when: "vertical margin positive", then: "further-treatment", is: func(f squamousFacts) fact { return f.vm.yes() },
		reason: "The vertical margin is positive: further treatment"},
	{when: "horizontal margin positive or not en bloc", then: "undetermined", is: func(f squamousFacts) fact { return f.incomplete() },
		reason: "The statement speaks of en bloc and complete resections, and this is none"},
	{when: "muscularis mucosae, no lymphovascular invasion", then: "close-follow-up-can-be-considered",
		is:     func(f squamousFacts) fact { return f.beyondLPM.yes() },
		reason: "The cancer reaches the muscularis mucosae without vessel invasion: close follow-up can be considered"},
	{when: "up to the lamina propria, no lymphovascular invasion, en bloc and complete", then: "no-additional-treatment",
		is:     func(squamousFacts) fact { return always() },
		reason: "Within the lamina propria without vessel invasion, en bloc and complete: no additional treatment"},
}))

// JES 2022 (quoted passages).
var ruleSquamousJES2022 = ofNeoplasia(listed(rule{
	id: "R5.oeso.scc.curability.jes2022", title: "After the squamous resection (JES 2022)",
	from: jes2022, confirmed: SecondHand, scope: ScopeLesion, applies: squamousSpecimen,
	cautions: []string{"The overview names all pMM, the clinical question only pMM with vascular invasion: both are shown."},
}, "management", gatherSquamous, []row[squamousFacts]{
	{when: "pT1b-SM", then: "additional-treatment-recommended", is: func(f squamousFacts) fact { return f.beyondMM.yes() },
		reason: "The cancer has reached the submucosa: there is evidence to recommend surgery or chemoradiotherapy"},
	{when: "pMM with vascular invasion", then: "additional-treatment-recommended",
		is:     func(f squamousFacts) fact { return all(f.beyondLPM.yes(), f.vessels.present()) },
		reason: "The cancer reaches the muscularis mucosae with vessel invasion: there is evidence to recommend surgery or chemoradiotherapy"},
	{when: "pMM", then: "additional-treatment-to-be-considered", is: func(f squamousFacts) fact { return f.beyondLPM.yes() },
		reason: "The cancer reaches the muscularis mucosae: the overview says that additional treatment should be considered"},
	{when: "pEP or pLPM with vascular invasion", then: "undetermined", is: func(f squamousFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded in a shallow cancer, which the quoted passages do not place"},
	{when: "pEP or pLPM", then: "follow-up", is: func(squamousFacts) fact { return always() },
		reason: "The cancer stays within epithelium and lamina propria: follow-up"},
}))

// ESGE classes in the squamous oesophagus: the abstract confirms all but the
// low-risk step; its 20 mm limit was seen quoted, 200 µm and m3 are from memory.
var ruleSquamousESGE = ofNeoplasia(listed(rule{
	id: "R5.oeso.scc.curability.esge2022", title: "Risk class of the squamous resection (ESGE)",
	from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: squamousSpecimen,
	cautions: []string{"That sm1 ends at 200 µm here is from memory."},
}, "risk", gatherSquamous, []row[squamousFacts]{
	{when: "lymphovascular invasion", then: "high", is: func(f squamousFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: high risk, for the multidisciplinary discussion"},
	{when: "deeper than sm1 (above 200 µm)", then: "high", is: func(f squamousFacts) fact { return f.depth.above(sm1Squamous) },
		reason: "The invasion is deeper than sm1: high risk, for the multidisciplinary discussion"},
	{when: "vertical margin positive", then: "high", is: func(f squamousFacts) fact { return f.vm.yes() },
		reason: "The vertical margin is positive: high risk, for the multidisciplinary discussion"},
	{when: "undifferentiated", then: "high", is: func(f squamousFacts) fact { return f.grade.no() },
		reason: "Poorly or undifferentiated tumour: high risk, for the multidisciplinary discussion"},
	{when: "sm1 with a positive horizontal margin or piecemeal", then: "undetermined",
		is:     func(f squamousFacts) fact { return all(f.beyondMM.yes(), f.incomplete()) },
		reason: "Local risk presupposes no submucosal invasion, and no high-risk feature is there", caution: undeterminedESGE},
	{when: "m3 or sm1, above 20 mm", then: "undetermined", confirmed: SecondHand,
		is:     func(f squamousFacts) fact { return all(f.beyondLPM.yes(), f.size.above(20)) },
		reason: "Larger than the low-risk limit of 20 mm, yet no high-risk feature is named", caution: undeterminedESGE},
	{when: "piecemeal or horizontal margin positive, no submucosal invasion", then: "local",
		is:     func(f squamousFacts) fact { return f.incomplete() },
		reason: "Only the horizontal margin or the piecemeal removal fails: risk of local recurrence"},
	{when: "sm1, up to 20 mm, en bloc R0", then: "low", confirmed: SecondHand,
		is:     func(f squamousFacts) fact { return f.beyondMM.yes() },
		reason: "Up to sm1, up to 20 mm, well or moderately differentiated, en bloc R0: low risk"},
	{when: "m3, up to 20 mm, en bloc R0", then: "low", confirmed: Memory,
		is:     func(f squamousFacts) fact { return f.beyondLPM.yes() },
		reason: "In the muscularis mucosae, up to 20 mm, well or moderately differentiated, en bloc R0: low risk"},
	{when: "not beyond m2, well or moderately differentiated, en bloc R0", then: "very-low",
		is:     func(squamousFacts) fact { return always() },
		reason: "En bloc R0, not beyond the lamina propria, well or moderately differentiated, no vessel invasion: very low risk, curative"},
}))

// JCOG0508 groups (Minashi, Gastroenterology 2019): lesions that were cT1b
// SM1-2 N0 before the resection.
var ruleJCOG0508 = ofNeoplasia(listed(rule{
	id: "R5.oeso.scc.jcog0508", title: "Group by the JCOG0508 trial",
	from: jcog0508, confirmed: SecondHand, scope: ScopeLesion,
	applies: func(k *look) bool {
		return squamousSpecimen(k) && oneOf(k.examination().PredictedDepth, report.PredictT1b, report.PredictT1bSM1, report.PredictT1bSM2)
	},
	cautions: []string{"A single-arm trial of clinical T1b N0 lesions; it compares no treatments."},
}, "group", gatherSquamous, []row[squamousFacts]{
	{when: "vertical margin positive", then: "C", is: func(f squamousFacts) fact { return f.vm.yes() },
		reason: "Vertical margin positive: group C had definitive chemoradiotherapy (50.4 Gy and a 9 Gy boost)"},
	{when: "pT1b, margin negative", then: "B", is: func(f squamousFacts) fact { return f.beyondMM.yes() }, caution: survivalB,
		reason: "pT1b with a clear margin: group B had prophylactic chemoradiotherapy (41.4 Gy)"},
	{when: "pT1a with lymphovascular invasion", then: "B", is: func(f squamousFacts) fact { return f.vessels.present() }, caution: survivalB,
		reason: "pT1a with vessel invasion: group B had prophylactic chemoradiotherapy (41.4 Gy)"},
	{when: "pT1a, margin and vessels negative", then: "A", is: func(squamousFacts) fact { return always() },
		reason: "pT1a with clear margin and vessels: group A had no further treatment"},
}))

const survivalB = "Three-year survival in group B was 90.7% (90% confidence interval 84.0 to 94.7), in all 92.6%."
