package assess

import (
	"slices"

	"enbloc/mapping/report"
)

// polyps is what the polyps of the session add up to.
type polyps struct {
	adenomas, largest                  *finding
	advanced, villous, serrated        *finding
	piecemeal20, serratedLarge, unread *finding
}

var (
	adenomaTypes  = []report.HistologyType{report.TypeAdenoma, report.TypeTubularAdenoma, report.TypeTubulovillous, report.TypeVillousAdenoma}
	villousTypes  = []report.HistologyType{report.TypeTubulovillous, report.TypeVillousAdenoma}
	serratedTypes = []report.HistologyType{report.TypeSSL, report.TypeSSLDysplasia, report.TypeTSA}
)

// gatherPolyps adds up the resected colorectal lesions. A lesion without
// histology leaves the sums open.
func gatherPolyps(k *look) polyps {
	t := tally{k: k, largest: report.Number{}}
	for i := range k.rep.Lesions {
		if l := &k.rep.Lesions[i]; l.Examination.Organ.Colorectal() && (l.Resection != nil || l.Histology != nil) {
			t.count(l, lesionBase(i))
		}
	}
	p := polyps{
		unread:      t.sign("/lesions", "histology of every lesion", t.unread == "", "not reported for all"),
		adenomas:    k.session("/lesions", "number of adenomas", "", report.Int(t.adenomas)),
		largest:     k.session(t.at(t.largestAt), "largest adenoma", "mm", t.largest),
		advanced:    t.sign(t.advancedAt, "high-grade dysplasia", t.advancedAt != "", ""),
		villous:     t.sign(t.villousAt, "villous part", t.villousAt != "", ""),
		serrated:    t.sign(t.serratedAt, "serrated lesion with dysplasia", t.serratedAt != "", ""),
		piecemeal20: t.sign(t.piecemealAt, "piecemeal resection of 20 mm or more", t.piecemealAt != "", ""),
	}
	p.serratedLarge = t.sign(t.serratedLargeAt, "serrated lesion of 10 mm or more", t.serratedLargeAt != "", "")
	p.unread.ifYes = "what is missing adds nothing"
	if p.unread.sign = yes; t.unread != "" {
		p.unread.sign, p.unread.path = unknown, t.unread
	}
	return p
}

// tally counts polyps; a path that is not empty says where a sign was found.
type tally struct {
	k                                        *look
	adenomas                                 int
	largest                                  report.Number
	largestMm                                float64
	largestAt, advancedAt, villousAt         string
	serratedAt, serratedLargeAt, piecemealAt string
	unread                                   string
}

func (t *tally) sign(path, name string, is bool, reason string) *finding {
	return t.k.add(finding{path: t.at(path), name: name, isSign: true, sign: truthOf(is), why: reason, ifYes: "present", ifNo: "none"})
}

// at is the path, or that of all lesions where nothing was found.
func (t *tally) at(path string) string {
	if path == "" {
		return "/lesions"
	}
	return path
}

func (t *tally) count(l *report.Lesion, base string) {
	size, sizeAt := l.Examination.SizeLongMm, base+"/examination/size_long_mm"
	mm, known := size.Value()
	if t.cutUp(l) && (known && mm >= 20) {
		t.piecemealAt = base + "/resection/pieces"
	}
	h := l.Histology
	if h == nil || len(h.Types) == 0 {
		t.unread = base + "/histology"
		return
	}
	first := h.Types[0]
	switch {
	case slices.Contains(adenomaTypes, first):
		t.adenomas++
		if !known {
			t.unread = sizeAt
		} else if mm > t.largestMm || t.largestAt == "" {
			t.largest, t.largestMm, t.largestAt = size, mm, sizeAt
		}
		t.grade(h, base)
	case slices.Contains(serratedTypes, first):
		if first == report.TypeSSLDysplasia || h.Dysplasia == report.DysplasiaLow || h.Dysplasia == report.DysplasiaHigh {
			t.serratedAt = base + "/histology/types/0"
		}
		if known && mm >= 10 {
			t.serratedLargeAt = sizeAt
		}
	}
}

func (t *tally) grade(h *report.Histology, base string) {
	switch {
	case h.Dysplasia == report.DysplasiaHigh:
		t.advancedAt = base + "/histology/dysplasia"
	case !report.Known(h.Dysplasia):
		t.unread = base + "/histology/dysplasia"
	}
	if slices.Contains(villousTypes, h.Types[0]) {
		t.villousAt = base + "/histology/types/0"
	}
}

// cutUp is whether the lesion came out in pieces.
func (t *tally) cutUp(l *report.Lesion) bool {
	if l.Resection == nil {
		return false
	}
	n, known := l.Resection.Pieces.Value()
	return known && n > 1
}

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
	{when: "piecemeal resection of 20 mm or more", then: "3-6mo-then-12mo", values: map[string]any{"later": "5y"}, is: func(p polyps) fact { return p.piecemeal20.yes() },
		reason: "Piecemeal resection of 20 mm or more: 3 to 6 months, then 12 months, later 5 years"},
	{when: "an adenoma of 10 mm or more", then: "3y", is: func(p polyps) fact { return atLeastKnown(p.largest, 10) }, reason: "An adenoma of 10 mm or more: 3 years"},
	{when: "high-grade dysplasia", then: "3y", is: func(p polyps) fact { return p.advanced.yes() }, reason: "High-grade dysplasia: 3 years"},
	{when: "5 or more adenomas", then: "3y", is: func(p polyps) fact { return p.adenomas.atLeast(5) }, reason: "Five adenomas or more: 3 years"},
	{when: "serrated lesion of 10 mm or more", then: "3y", is: func(p polyps) fact { return p.serratedLarge.yes() }, reason: "A serrated lesion of 10 mm or more: 3 years"},
	{when: "serrated lesion with dysplasia", then: "3y", is: func(p polyps) fact { return p.serrated.yes() }, reason: "A serrated lesion with dysplasia: 3 years"},
	{when: "a lesion without histology, dysplasia or size", then: CannotBeAssessed, is: func(p polyps) fact { return p.unread.no() }},
	{when: "1 to 4 adenomas below 10 mm of low grade, or serrated below 10 mm without dysplasia", then: "return-to-screening",
		is:     func(polyps) fact { return always() },
		reason: "Up to 4 adenomas below 10 mm of low grade, or serrated lesions below 10 mm without dysplasia: return to screening"},
})

// atLeastKnown compares the largest adenoma; with no adenoma it fails.
func atLeastKnown(f *finding, limit float64) fact {
	if !f.known() {
		return fact{is: no}
	}
	return f.atLeast(limit)
}

const tenAmbiguous = "Exactly 10 adenomas are ambiguous: a textbook table prints 10 and more for 1 year, the text is remembered as more than 10."

// US Multi-Society Task Force 2020, as tabulated in a textbook.
var ruleSurveillanceMSTF = listed(rule{
	id: "R11.surveillance.usmstf2020", title: "Surveillance after polypectomy (US MSTF)", from: usmstf2020, confirmed: SecondHand, scope: ScopeSession, applies: polypSession,
	cautions: []string{countsHere, "A proposal for a complete, well prepared colonoscopy."},
}, "interval", gatherPolyps, []row[polyps]{
	{when: "piecemeal resection of 20 mm or more", then: "6mo", is: func(p polyps) fact { return p.piecemeal20.yes() }, reason: "Piecemeal resection of 20 mm or more: 6 months"},
	{when: "more than 10 adenomas", then: "1y", is: func(p polyps) fact { return p.adenomas.above(10) }, reason: "More than 10 adenomas: 1 year"},
	{when: "exactly 10 adenomas", then: "undetermined", is: func(p polyps) fact { return p.adenomas.atLeast(10) }, caution: tenAmbiguous,
		reason: "Exactly 10 adenomas: 1 year by one table, 3 years by the remembered text"},
	{when: "an adenoma of 10 mm or more", then: "3y", is: func(p polyps) fact { return atLeastKnown(p.largest, 10) }, reason: "An adenoma of 10 mm or more: 3 years"},
	{when: "villous part", then: "3y", is: func(p polyps) fact { return p.villous.yes() }, reason: "A villous part: 3 years"},
	{when: "high-grade dysplasia", then: "3y", is: func(p polyps) fact { return p.advanced.yes() }, reason: "High-grade dysplasia: 3 years"},
	{when: "6 to 9 adenomas", then: "3y", confirmed: Memory, is: func(p polyps) fact { return p.adenomas.atLeast(6) }, reason: "From 6 to 9 adenomas: 3 years"},
	{when: "5 adenomas", then: "3y", is: func(p polyps) fact { return p.adenomas.atLeast(5) }, reason: "Five adenomas: 3 years"},
	{when: "a lesion without histology, dysplasia or size", then: CannotBeAssessed, is: func(p polyps) fact { return p.unread.no() }},
	{when: "3 to 4 adenomas below 10 mm", then: "3-5y", is: func(p polyps) fact { return p.adenomas.atLeast(3) }, reason: "Three or four adenomas below 10 mm: 3 to 5 years"},
	{when: "1 to 2 tubular adenomas below 10 mm", then: "7-10y", is: func(p polyps) fact { return p.adenomas.atLeast(1) }, reason: "One or two tubular adenomas below 10 mm: 7 to 10 years"},
	{when: "no adenoma", then: "not-by-this-rule", is: func(polyps) fact { return always() }, reason: "No adenoma is reported, and the rows are about adenomas"},
})
