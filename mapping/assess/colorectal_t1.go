package assess

import (
	"math"

	"enbloc/mapping/report"
)

var below1000 = math.Nextafter(1000, 0)

// t1Facts are the inputs of curability in the colorectum.
type t1Facts struct {
	depth, hm, vm, grade, poorPart, budding *finding
	bloc                                    oneBloc
	vessels                                 invasion
}

func gatherT1(k *look) t1Facts {
	return t1Facts{
		vm: k.verticalMargin(), hm: k.horizontalMargin(), bloc: k.oneBloc(), vessels: k.invasion(),
		depth: k.depth(below1000), grade: k.wellOrModerate(), poorPart: k.poorPart(), budding: k.muchBudding(),
	}
}

func (f t1Facts) incomplete() fact { return anyOf(f.hm.yes(), not(f.bloc.whole())) }

// poorPart is whether any part is poorly differentiated, signet-ring or
// mucinous. The least differentiated part counts: it predicts node metastasis
// better than the dominant one (PMC10753631); the guideline leaves it open.
func (k *look) poorPart() *finding {
	h := k.histology()
	f := k.sign("/histology/worst_grade", "grade of the least differentiated part", gradedPoor(h.WorstGrade),
		why(report.AbsenceOf(h.WorstGrade)), "poorly differentiated, signet-ring or mucinous", "well or moderately differentiated throughout")
	differentiatedOnly := len(h.Types) > 0
	for _, t := range h.Types {
		if grouped(t) == no {
			f.path, f.sign = "/histology/types", yes
			return f
		}
		differentiatedOnly = differentiatedOnly && grouped(t) == yes
	}
	switch {
	case f.known():
	case gradedPoor(h.Grade) == yes:
		f.path, f.sign = "/histology/grade", yes
	case differentiatedOnly:
		f.path, f.sign = "/histology/types", no
	}
	return f
}

func gradedPoor(g report.Grade) truth { return not(fact{is: gradedWell(g)}).is }

// muchBudding is budding of grade 2 or 3, as graded or as counted.
func (k *look) muchBudding() *finding {
	h := k.histology()
	f := k.sign("/histology/budding", "tumour budding", unknown, why(report.AbsenceOf(h.Budding)), "BD2 or BD3", "BD1")
	switch h.Budding {
	case report.BD1:
		f.sign = no
	case report.BD2, report.BD3:
		f.sign = yes
	default:
		if h.Budding == report.BuddingNoFit {
			f.why = "could not be assessed"
		}
		if buds, ok := normalisedBuds(h); ok {
			f.path, f.sign = "/histology/budding_count", truthOf(buds >= 5)
		}
	}
	return f
}

// marginNote warns of a positive horizontal margin, which the list leaves out.
func marginNote(k *look) string {
	if k.histology().HorizontalMargin == report.Positive {
		return "The horizontal margin is positive: not in this list, but a risk of local residual lesion in its own right."
	}
	return ""
}

// JSCCR: pT1 after endoscopic resection (2009 text, 2016 edition). The depth
// counts from 1000 µm; it stands last so that it can say it is the only factor.
var ruleJSCCR = ofCancer(ofInvasion(listed(rule{
	id: "R6.colorectal.t1.jsccr", title: "After resection of a colorectal pT1 cancer (JSCCR)",
	from: jsccr, confirmed: SecondHand, scope: ScopeLesion, applies: colorectalSpecimen, notes: marginNote,
	cautions: []string{"As a rule set: sensitivity 100%, specificity 25.6% for node metastasis in 519 operated pT1 (doi:10.1055/a-2697-7786)."},
}, "management", gatherT1, []row[t1Facts]{
	{when: "vertical margin positive", then: "surgery-preferred", is: func(f t1Facts) fact { return f.vm.yes() },
		reason: "The cancer is exposed at the deep margin: surgery is preferred"},
	{when: "lymphovascular invasion", then: "consider-surgery", is: func(f t1Facts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: bowel resection with node dissection is to be considered"},
	{when: "poorly differentiated, signet-ring or mucinous", then: "consider-surgery", is: func(f t1Facts) fact { return f.poorPart.yes() },
		reason: "A poorly differentiated, signet-ring or mucinous part: bowel resection with node dissection is to be considered"},
	{when: "budding grade 2 or 3 at the deepest front", then: "consider-surgery", is: func(f t1Facts) fact { return f.budding.yes() },
		reason: "Budding of grade 2 or 3: bowel resection with node dissection is to be considered"},
	{when: "submucosal invasion of 1000 µm or more", then: "consider-surgery", is: func(f t1Facts) fact { return f.depth.atLeast(1000) },
		reason: "The invasion reaches 1000 µm or more, the only factor: bowel resection with node dissection is to be considered",
		risk: &Risk{Of: "lymph node metastasis", Pct: 1.2,
			Setting: "depth of 1000 µm or more as the only factor, one series cited in a textbook chapter, second-hand"}},
	{when: "none of these", then: "surveillance", is: func(t1Facts) fact { return always() },
		reason: "Clear deep margin, less than 1000 µm, no vessel invasion, well or moderately differentiated, no more than BD1: surveillance"},
})))

// ofInvasion keeps a rule about pT1 away from lesions within the mucosa.
func ofInvasion(r *rule) *rule {
	ask := r.ask
	r.ask = func(r *rule, k *look) Result {
		if d := k.depth(below1000); d.hi == 0 {
			return r.unconcerned(k, "The cancer stays within the mucosa, and the list is for pT1.", d.pointer())
		}
		k.reset()
		return ask(r, k)
	}
	return r
}

// ESGE classes in the colorectum. Budding counts once the submucosa is reached;
// the low-risk step is from memory.
var ruleColorectalESGE = ofNeoplasia(listed(rule{
	id: "R6.colorectal.t1.esge2022", title: "Risk class of the colorectal resection (ESGE)",
	from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: colorectalSpecimen,
	cautions: []string{"That sm1 ends at 1000 µm here is from memory."},
}, "risk", gatherT1, []row[t1Facts]{
	{when: "lymphovascular invasion", then: "high", is: func(f t1Facts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: high risk, for the multidisciplinary discussion"},
	{when: "deeper than sm1 (above 1000 µm)", then: "high", is: func(f t1Facts) fact { return f.depth.above(1000) },
		reason: "The invasion is deeper than sm1: high risk, for the multidisciplinary discussion"},
	{when: "vertical margin positive", then: "high", is: func(f t1Facts) fact { return f.vm.yes() },
		reason: "The vertical margin is positive: high risk, for the multidisciplinary discussion"},
	{when: "undifferentiated", then: "high", is: func(f t1Facts) fact { return f.grade.no() },
		reason: "Poorly or undifferentiated tumour: high risk, for the multidisciplinary discussion"},
	{when: "budding grade 2 or 3", then: "high", is: func(f t1Facts) fact { return all(f.depth.above(0), f.budding.yes()) },
		reason: "Budding of grade 2 or 3: high risk, for the multidisciplinary discussion"},
	{when: "sm1 with a positive horizontal margin or piecemeal", then: "undetermined",
		is:     func(f t1Facts) fact { return all(f.depth.above(0), f.incomplete()) },
		reason: "Local risk presupposes no submucosal invasion, and no high-risk feature is there", caution: undeterminedESGE},
	{when: "piecemeal or horizontal margin positive, no submucosal invasion", then: "local",
		is:     func(f t1Facts) fact { return f.incomplete() },
		reason: "Only the horizontal margin or the piecemeal removal fails: risk of local recurrence, for surveillance or re-treatment rather than surgery"},
	{when: "sm1 (up to 1000 µm), BD1, en bloc R0", then: "low", confirmed: Memory, is: func(f t1Facts) fact { return f.depth.above(0) },
		reason: "Up to 1000 µm into the submucosa, no budding of grade 2 or 3, well or moderately differentiated, en bloc R0: low risk"},
	{when: "intramucosal, well or moderately differentiated, en bloc R0", then: "very-low", is: func(t1Facts) fact { return always() },
		reason: "En bloc R0, no deeper than the mucosa, well or moderately differentiated, no vessel invasion: very low risk, curative"},
}))

// normalisedBuds is the number of buds in a field of 0.785 mm².
func normalisedBuds(h *report.Histology) (float64, bool) {
	buds, counted := h.BuddingCount.Value()
	field, known := h.BuddingFieldMm2.Value()
	if !counted || !known || field <= 0 {
		return 0, false
	}
	return buds / (field / 0.785), true
}

// ITBCC: Lugli, Mod Pathol 2017;30:1299, one hotspot of 0.785 mm²; the halves
// of BD3 from J Clin Oncol 2019;37:1886. A count in another field is scaled.
var ruleBudding = listed(rule{
	id: "R6.colorectal.budding", title: "Grade of tumour budding (ITBCC)",
	from: itbcc, confirmed: SecondHand, scope: ScopeLesion,
	applies:  func(k *look) bool { return inColorectum(k) && k.histology().BuddingCount.Reported() },
	cautions: []string{"A bud is a single cell or a cluster of up to four; a count in another field is scaled to 0.785 mm² and not rounded."},
	notes: func(k *look) string {
		h := k.histology()
		buds, ok := normalisedBuds(h)
		if stated := report.Known(h.Budding) && h.Budding != report.BuddingNoFit; ok && stated && h.Budding != budGrade(buds) {
			return "The report states another grade than the count gives."
		}
		return ""
	},
}, "grade", func(k *look) *finding {
	h := k.histology()
	f := k.number("/histology/budding_count", "buds in 0.785 mm²", "", h.BuddingCount)
	buds, ok := normalisedBuds(h)
	f.lo, f.hi = buds, buds
	if !ok {
		f.lo, f.hi = math.Inf(-1), math.Inf(1)
	}
	if !ok && h.BuddingCount.Known() {
		f.path, f.name, f.why = "/histology/budding_field_mm2", "field of the count", why(h.BuddingFieldMm2.Absence())
	}
	return f
}, []row[*finding]{
	{when: "0 to 4 buds", then: "BD1", is: func(f *finding) fact { return f.below(5) }, reason: "Fewer than 5 buds: BD1"},
	{when: "5 to 9 buds", then: "BD2", is: func(f *finding) fact { return f.below(10) }, reason: "From 5 to 9 buds: BD2"},
	{when: "10 to 19 buds", then: "BD3", values: map[string]any{"half": "BD3a"}, is: func(f *finding) fact { return f.below(20) }, reason: "From 10 to 19 buds: BD3, its lower half"},
	{when: "20 buds or more", then: "BD3", values: map[string]any{"half": "BD3b"}, is: func(*finding) fact { return always() }, reason: "20 buds or more: BD3, its upper half"},
})

func budGrade(buds float64) report.Budding {
	switch {
	case buds < 5:
		return report.BD1
	case buds < 10:
		return report.BD2
	}
	return report.BD3
}
