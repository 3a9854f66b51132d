package assess

import "enbloc/mapping/report"

type squamousLesion struct {
	shallow, mmSM1, allRound, length, nodes *finding
}

func gatherSquamousLesion(k *look) squamousLesion {
	e := k.examination()
	d := e.PredictedDepth
	shallow, mmSM1 := unknown, unknown
	switch d {
	case report.PredictT1aEPLPM:
		shallow, mmSM1 = yes, no
	case report.PredictMMSM1, report.PredictT1bSM1:
		shallow, mmSM1 = no, yes
	case report.PredictT1bSM2, report.PredictT2:
		shallow, mmSM1 = no, no
	case report.PredictT1b:
		shallow = no
	}
	reason := why(report.AbsenceOf(d))
	if report.Known(d) {
		reason = "not divided finely enough"
	}
	n := k.sign("/examination/clinical_n", "clinical nodal stage", unknown, why(report.AbsenceOf(e.ClinicalN)), "N0", "nodes suspected")
	if report.Known(e.ClinicalN) {
		n.sign = truthOf(e.ClinicalN == report.ClinicalN0)
	}
	return squamousLesion{
		nodes:    n,
		shallow:  k.sign("/examination/predicted_depth", "expected depth", shallow, reason, "EP or LPM", "deeper"),
		mmSM1:    k.sign("/examination/predicted_depth", "expected depth", mmSM1, reason, "MM or SM1", "deeper than SM1"),
		allRound: k.allRound(),
		length:   k.number("/examination/axial_length_mm", "axial length", "mm", e.AxialLengthMm),
	}
}

// allRound is whether the lesion takes the whole circumference.
func (k *look) allRound() *finding {
	e := k.examination()
	f := k.answer("/examination/circumferential", "circumferential extent", e.Circumferential)
	if share, ok := e.CircumferencePct.Value(); ok && !f.known() {
		f.path, f.sign = "/examination/circumference_pct", truthOf(share >= 100)
	}
	f.ifYes, f.ifNo = "circumferential", "not circumferential"
	return f
}

func indicated(is bool) map[string]any { return map[string]any{"esd_indicated": is} }

// JES/JGES position as reviewed in Mini-invasive Surg 2021;5:36.
var ruleSquamousIndication = listed(rule{
	id: "R5.oeso.scc.indication.jes", title: "Indication for squamous ESD (JES/JGES)",
	from: jesJGES, confirmed: SecondHand, scope: ScopeLesion, applies: squamous,
}, "", gatherSquamousLesion, []row[squamousLesion]{
	{when: "nodes suspected", then: "not-by-this-rule", values: indicated(false), is: func(f squamousLesion) fact { return f.nodes.no() },
		reason: "Nodes are suspected: not indicated by this rule"},
	{when: "cEP/LPM N0, not circumferential", then: "indicated", values: indicated(true),
		is:     func(f squamousLesion) fact { return all(f.shallow.yes(), f.allRound.no()) },
		reason: "cEP or cLPM, N0, not circumferential: ESD is indicated"},
	{when: "cEP/LPM N0, circumferential, length up to 50 mm", then: "indicated", values: indicated(true),
		is:     func(f squamousLesion) fact { return all(f.shallow.yes(), f.length.atMost(50)) },
		reason: "cEP or cLPM, N0, circumferential but up to 50 mm long: ESD is indicated"},
	{when: "cMM/SM1 (up to 200 µm) N0, not circumferential", then: "indicated", values: indicated(true),
		is:     func(f squamousLesion) fact { return all(f.mmSM1.yes(), f.allRound.no()) },
		reason: "cMM or cSM1, N0, not circumferential: ESD is indicated"},
	{when: "otherwise", then: "not-by-this-rule", values: indicated(false), is: func(squamousLesion) fact { return always() },
		reason: "Outside the rows of this rule: ESD is not indicated by it"},
})
