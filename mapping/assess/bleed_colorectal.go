package assess

import (
	"slices"

	"enbloc/mapping/report"
)

type colorectalBleed struct {
	age, asa, size, rectum, right *finding
	any, plate, coagulant         *finding
}

func gatherColorectalBleed(k *look) colorectalBleed {
	return colorectalBleed{
		age: k.age(), asa: k.asa(), size: k.size(), rectum: k.rectum(), right: k.right(),
		any: k.anyDrug("antithrombotic drug", slices.Concat(antiplatelets, anticoagulants)...), plate: k.anyDrug("antiplatelet drug", antiplatelets...),
		coagulant: k.anyDrug("anticoagulant drug", anticoagulants...),
	}
}

func colorectalESD(k *look) bool { return inColorectum(k) && k.resection().Technique.Dissects() }

func within30(pct float64) *Risk {
	return &Risk{Of: "bleeding within 30 days", Pct: pct, Setting: "colorectal ESD, development cohort of 940, all groups together; no interval per group was seen"}
}

// Limoges: Albouys, Endoscopy 2024;56:110. Size counts above 50 mm.
var ruleLimoges = scored(rule{
	id: "R4.bleed.limoges", title: "Risk of bleeding after colorectal ESD (Limoges)",
	from: limoges, confirmed: Primary, scope: ScopeLesion, applies: colorectalESD,
	cautions: []string{"A later European test on 4,771 resections found an area under the curve of 0.682."},
}, "group", gatherColorectalBleed, []item[colorectalBleed]{
	{points: 1, what: "age 75 or more", is: func(b colorectalBleed) fact { return b.age.atLeast(75) }},
	{points: 1, what: "antithrombotic drug", is: func(b colorectalBleed) fact { return b.any.yes() }},
	{points: 1, what: "rectum", is: func(b colorectalBleed) fact { return b.rectum.yes() }},
	{points: 3, what: "size above 50 mm", is: func(b colorectalBleed) fact { return b.size.above(50) }},
	{points: 2, what: "ASA III or more", is: func(b colorectalBleed) fact { return b.asa.atLeast(3) }},
}, []band{
	{upTo: 4, group: "low-medium", values: map[string]any{"rate_pct": 4.1}, risk: within30(4.1), reason: "Low to medium risk of bleeding."},
	{upTo: 8, group: "high", values: map[string]any{"rate_pct": 17.5}, risk: within30(17.5), reason: "High risk of bleeding."},
})

// DEBE: Endoscopy 2025;57(S02):S100. Size counts from 50 mm; the limit between
// its two groups was not seen, so no group is given.
var ruleDEBE = scored(rule{
	id: "R4.bleed.debe", title: "Points for bleeding after colorectal ESD (DEBE)",
	from: debe, confirmed: Primary, scope: ScopeLesion, applies: colorectalESD,
	cautions: []string{"Points only: the limit between the two groups of the score was not seen.", sideCaution},
}, "", gatherColorectalBleed, []item[colorectalBleed]{
	{points: 2, what: "age 75 or more", is: func(b colorectalBleed) fact { return b.age.atLeast(75) }},
	{points: 5, what: "size 50 mm or more", is: func(b colorectalBleed) fact { return b.size.atLeast(50) }},
	{points: 4, what: "ASA III or more", is: func(b colorectalBleed) fact { return b.asa.atLeast(3) }},
	{points: 2, what: "rectum", is: func(b colorectalBleed) fact { return b.rectum.yes() }},
	{points: 1, what: "proximal colon", is: func(b colorectalBleed) fact { return b.right.yes() }},
	{points: 7, what: "anticoagulant drug", is: func(b colorectalBleed) fact { return b.coagulant.yes() }},
	{points: 3, what: "antiplatelet drug", is: func(b colorectalBleed) fact { return b.plate.yes() }},
}, []band{{upTo: 23}})

type emrBleed struct {
	age, asa, size, right, aspirin, closed *finding
}

func gatherEMRBleed(k *look) emrBleed {
	b := emrBleed{age: k.age(), asa: k.asa(), aspirin: k.anyDrug("aspirin", report.Aspirin), right: k.right(), size: k.size()}
	b.closed = k.sign("/resection/closure/result", "closure of the defect", unknown, "not reported", "closed", "not closed")
	if c := k.resection().Closure; c != nil {
		b.closed.why = why(report.AbsenceOf(c.Result))
		if report.Known(c.Result) {
			b.closed.sign = truthOf(c.Result == report.ClosureComplete)
		}
	}
	return b
}

func within15(pct float64) *Risk {
	return &Risk{Of: "bleeding within 15 days", Pct: pct, Setting: "colorectal EMR of 20 mm or more, 1,255 patients, all groups together"}
}

// GSEED-RE: Albéniz, Clin Gastroenterol Hepatol 2016. Factors, groups and
// rates were read; the single weights are from memory, so the rule is off.
var ruleGSEED = scored(rule{
	id: "R4.bleed.gseed_re", title: "Risk of bleeding after colorectal EMR (GSEED-RE)",
	from: gseed, confirmed: Memory, scope: ScopeLesion,
	applies: func(k *look) bool {
		size, known := k.lesionSize()
		return inColorectum(k) && oneOf(k.resection().Technique, report.EMR, report.PrecutEMR, report.UnderwaterEMR) && (!known || size >= 20)
	},
	cautions: []string{"For EMR of lesions of 20 mm or more. A second version of the score exists and is left out.", sideCaution},
}, "group", gatherEMRBleed, []item[emrBleed]{
	{points: 1, what: "age 75 or more", is: func(b emrBleed) fact { return b.age.atLeast(75) }},
	{points: 1, what: "ASA III or more", is: func(b emrBleed) fact { return b.asa.atLeast(3) }},
	{points: 2, what: "aspirin", is: func(b emrBleed) fact { return b.aspirin.yes() }},
	{points: 3, what: "right-sided", is: func(b emrBleed) fact { return b.right.yes() }},
	{points: 1, what: "size 40 mm or more", is: func(b emrBleed) fact { return b.size.atLeast(40) }},
	{points: 2, what: "defect not closed", is: func(b emrBleed) fact { return b.closed.no() }},
}, []band{
	{upTo: 3, group: "low", values: map[string]any{"rate_pct": 0.6}, risk: within15(0.6), reason: "Low risk of bleeding."},
	{upTo: 7, group: "average", values: map[string]any{"rate_pct": 5.5}, risk: within15(5.5), reason: "Average risk of bleeding."},
	{upTo: 10, group: "high", values: map[string]any{"rate_pct": 40.0}, risk: within15(40), reason: "High risk of bleeding."},
})

// lesionSize is the size that scores go by.
func (k *look) lesionSize() (float64, bool) {
	if v, ok := k.histology().TumourLongMm.Value(); ok {
		return v, true
	}
	return k.examination().SizeLongMm.Value()
}
