package assess

import (
	"slices"

	"enbloc/mapping/report"
)

func polypSession(k *look) bool {
	return slices.ContainsFunc(k.rep.Lesions, func(l report.Lesion) bool {
		return l.Examination.Organ.Colorectal() && (l.Resection != nil || l.Histology != nil) && !isCancerous(l.Histology)
	})
}

func isCancerous(h *report.Histology) bool {
	return h != nil && (slices.ContainsFunc(h.Types, isCarcinoma) || h.PT.Submucosal())
}

const countsHere = "Counts the lesions of this report only: polyps of other sessions, and lesions seen and left, are not in it."

// ESGE 2020: Endoscopy 2020;52:687.
var ruleSurveillanceESGE = listed(rule{
	id: "R11.surveillance.esge2020", title: "Surveillance after polypectomy (ESGE)", from: esge2020s, confirmed: Primary, scope: ScopeSession, applies: polypSession,
	cautions: []string{countsHere, "A proposal for a complete, well prepared colonoscopy; return to screening means 10 years where there is no programme."},
}, "interval", gatherPolyps, []row[polyps]{
	{when: "piecemeal resection of 20 mm or more", then: "3-6mo-then-12mo", values: map[string]any{"later": "5y"}, is: func(p polyps) fact { return p.cut.yes() },
		reason: "Piecemeal resection of 20 mm or more: 3 to 6 months, then 12 months, later 5 years"},
	{when: "an adenoma of 10 mm or more", then: "3y", is: func(p polyps) fact { return p.largest.atLeast(10) }, reason: "An adenoma of 10 mm or more: 3 years"},
	{when: "high-grade dysplasia", then: "3y", is: func(p polyps) fact { return p.advanced.yes() }, reason: "High-grade dysplasia: 3 years"},
	{when: "5 or more adenomas", then: "3y", is: func(p polyps) fact { return p.adenomas.atLeast(5) }, reason: "Five adenomas or more: 3 years"},
	{when: "serrated lesion of 10 mm or more", then: "3y", is: func(p polyps) fact { return p.serratedLarge.yes() }, reason: "A serrated lesion of 10 mm or more: 3 years"},
	{when: "serrated lesion with dysplasia", then: "3y", is: func(p polyps) fact { return p.serrated.yes() }, reason: "A serrated lesion with dysplasia: 3 years"},
	{when: "1 to 4 adenomas below 10 mm of low grade, or serrated below 10 mm without dysplasia", then: "return-to-screening",
		is:     func(polyps) fact { return always() },
		reason: "Up to 4 adenomas below 10 mm of low grade, or serrated lesions below 10 mm without dysplasia: return to screening"},
})

const tenAmbiguous = "Exactly 10 adenomas are ambiguous: a textbook table prints 10 and more for 1 year, the text is remembered as more than 10."

// US Multi-Society Task Force 2020, as tabulated in a textbook.
var ruleSurveillanceMSTF = listed(rule{
	id: "R11.surveillance.usmstf2020", title: "Surveillance after polypectomy (US MSTF)", from: usmstf2020, confirmed: SecondHand, scope: ScopeSession, applies: polypSession,
	cautions: []string{countsHere, "A proposal for a complete, well prepared colonoscopy."},
}, "interval", gatherPolyps, []row[polyps]{
	{when: "piecemeal resection of 20 mm or more", then: "6mo", is: func(p polyps) fact { return p.cut.yes() }, reason: "Piecemeal resection of 20 mm or more: 6 months"},
	{when: "more than 10 adenomas", then: "1y", is: func(p polyps) fact { return p.adenomas.above(10) }, reason: "More than 10 adenomas: 1 year"},
	{when: "exactly 10 adenomas", then: "undetermined", is: func(p polyps) fact { return p.adenomas.atLeast(10) }, caution: tenAmbiguous,
		reason: "Exactly 10 adenomas: 1 year by one table, 3 years by the remembered text"},
	{when: "an adenoma of 10 mm or more", then: "3y", is: func(p polyps) fact { return p.largest.atLeast(10) }, reason: "An adenoma of 10 mm or more: 3 years"},
	{when: "villous part", then: "3y", is: func(p polyps) fact { return p.villous.yes() }, reason: "A villous part: 3 years"},
	{when: "high-grade dysplasia", then: "3y", is: func(p polyps) fact { return p.advanced.yes() }, reason: "High-grade dysplasia: 3 years"},
	{when: "6 to 9 adenomas", then: "3y", confirmed: Memory, is: func(p polyps) fact { return p.adenomas.atLeast(6) }, reason: "From 6 to 9 adenomas: 3 years"},
	{when: "5 adenomas", then: "3y", is: func(p polyps) fact { return p.adenomas.atLeast(5) }, reason: "Five adenomas: 3 years"},
	{when: "3 to 4 adenomas below 10 mm", then: "3-5y", is: func(p polyps) fact { return p.adenomas.atLeast(3) }, reason: "Three or four adenomas below 10 mm: 3 to 5 years"},
	{when: "1 to 2 tubular adenomas below 10 mm", then: "7-10y", is: func(p polyps) fact { return p.adenomas.atLeast(1) }, reason: "One or two tubular adenomas below 10 mm: 7 to 10 years"},
	{when: "no adenoma", then: "not-by-this-rule", is: func(polyps) fact { return always() }, reason: "No adenoma is reported, and the rows are about adenomas"},
})
