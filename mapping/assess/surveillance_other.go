package assess

import "enbloc/mapping/report"

// JGES 2nd edition and JGCA 6th edition, read in a transcription.
var ruleSurveillanceGastric = ofCancer(listed(rule{
	id: "R11.surveillance.gastric.jges2020", title: "Surveillance after gastric resection (JGES/JGCA)",
	from: jges2020, confirmed: Transcription, scope: ScopeLesion, applies: gastricSpecimen,
	cautions: []string{"Published series looked once or twice a year, without an end (Clin Endosc 2018;51:253)."},
}, "interval", func(k *look) gradeFacts { return gradeFacts{gatherGastric(below500)(k)} }, []row[gradeFacts]{
	{when: "eCura A", then: "endoscopy-6-to-12mo", is: func(f gradeFacts) fact { return f.graded("A") }, reason: "eCura A: endoscopy once or twice a year"},
	{when: "eCura B", then: "endoscopy-6-to-12mo-and-imaging", is: func(f gradeFacts) fact { return f.graded("B") },
		reason: "eCura B: endoscopy once or twice a year, with ultrasound or CT"},
	{when: "eCura C-1 or C-2", then: "by-decision", is: func(gradeFacts) fact { return always() },
		reason: "After C-1 or C-2 the further course hangs on what is decided"},
}))

// From memory: ESGE after curative gastric resection.
var ruleSurveillanceGastricESGE = ofNeoplasia(listed(rule{
	id: "R11.surveillance.gastric.esge", title: "Surveillance after gastric resection (ESGE)",
	from: esgeMemory, confirmed: Memory, scope: ScopeLesion, applies: gastricSpecimen,
}, "interval", gatherExtent, []row[extent]{
	{when: "after a gastric resection", then: "3-6mo-then-yearly", is: func(extent) fact { return always() }, reason: "3 to 6 months, then yearly"},
}))

// From memory: ESGE after duodenal resection.
var ruleSurveillanceDuodenum = listed(rule{
	id: "R11.surveillance.duodenum.esge2021", title: "Surveillance after duodenal resection (ESGE)",
	from: esgeMemory, confirmed: Memory, scope: ScopeLesion,
	applies: func(k *look) bool { return k.examination().Organ == report.Duodenum && resected(k) },
}, "interval", gatherExtent, []row[extent]{
	{when: "after a duodenal resection", then: "3mo-then-1y", is: func(extent) fact { return always() }, reason: "3 months, then 1 year"},
})

// MAPS: Helicobacter pylori is tested for and eradicated after gastric
// resection.
var rulePylori = lookedUp(rule{
	id: "R11.surveillance.gastric.h_pylori", title: "Helicobacter pylori after gastric resection",
	from: pylori, confirmed: SecondHand, scope: ScopeLesion, applies: func(k *look) bool { return inStomach(k) && resected(k) },
}, "proposal", "/before/h_pylori", "state of Helicobacter pylori", pyloriOf, []entry[report.HPyloriStatus]{
	{class: report.HPyloriPositive, then: "eradication", reason: "Infection is reported: eradication is advised"},
	{class: report.HPyloriFailed, then: "eradication", reason: "Eradication failed: another course is advised"},
	{class: report.HPyloriNegative, then: "none", reason: "No infection is reported"},
	{class: report.HPyloriEradicated, then: "none", reason: "Infection has been eradicated"},
	{class: pyloriUntested, absent: true, then: "test", reason: "The state of infection is not known: testing is advised"},
})

const pyloriUntested report.HPyloriStatus = "not-known"

// pyloriOf folds all that is not known into one class: the advice is to test.
func pyloriOf(k *look) report.HPyloriStatus {
	if s := k.before().HPylori; report.Known(s) {
		return s
	}
	return pyloriUntested
}

// ESGE/ESDO 2019 after colorectal cancer, pT1 curative at endoscopy included.
var ruleSurveillanceT1 = ofCancer(ofInvasion(listed(rule{
	id: "R11.surveillance.colorectal_cancer.esge2019", title: "Colonoscopy after colorectal cancer (ESGE/ESDO)",
	from: esdo2019, confirmed: SecondHand, scope: ScopeLesion, applies: colorectalSpecimen,
	cautions: []string{"The editorial that quotes it questions the interval for R0 pT1. A complete colonoscopy belongs before or within 6 months."},
}, "interval", gatherT1, []row[t1Facts]{
	{when: "colorectal cancer, pT1 removed curatively at endoscopy included", then: "1y", is: func(f t1Facts) fact { return f.depth.above(0) },
		reason:  "Invasive cancer: first colonoscopy after 1 year",
		caution: "Where surgery is to be considered, that comes first: the interval applies once no surgery follows, and after surgery it counts from there."},
	{when: "within the mucosa", then: "not-by-this-rule", is: func(t1Facts) fact { return always() }, reason: "No invasion, and the advice is on cancer"},
})))

// JGES colorectal guideline, read in a transcription.
var ruleSurveillancePiecemeal = listed(rule{
	id: "R11.surveillance.piecemeal.jges", title: "Colonoscopy after piecemeal resection (JGES)",
	from: jgesColorectal, confirmed: Transcription, scope: ScopeLesion, applies: func(k *look) bool { return inColorectum(k) && resected(k) },
}, "interval", gatherExtent, []row[extent]{
	{when: "more than one piece", then: "6mo", is: func(e extent) fact { return e.bloc.pieces.above(1) }, reason: "Piecemeal resection: about 6 months"},
	{when: "one piece", then: "not-by-this-rule", is: func(extent) fact { return always() }, reason: "One piece, and the advice is on piecemeal resection"},
})
