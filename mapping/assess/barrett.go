package assess

import "enbloc/mapping/report"

// sm1Barrett is the greatest depth of sm1 in Barrett's oesophagus, in µm.
const sm1Barrett = 500

func gatherBarrett(k *look) squamousFacts {
	return squamousFacts{
		vessels: k.invasion(), vm: k.verticalMargin(), hm: k.horizontalMargin(), bloc: k.oneBloc(),
		depth: k.depth(sm1Barrett), grade: k.wellOrModerate(), size: k.tumourSize(),
	}
}

func within(is bool) map[string]any { return map[string]any{"within_curative_criteria": is} }

// Review, J Gastroenterol 2018, doi:10.1007/s00535-018-1491-x: the size limit
// belongs to the submucosal extension and is strict.
var ruleEACReview = ofNeoplasia(listed(rule{
	id: "R5.oeso.eac.curability", title: "Curability criteria for oesophageal adenocarcinoma (review)",
	from: eacReview, confirmed: SecondHand, scope: ScopeLesion, applies: barrettSpecimen,
	cautions: []string{
		"The criteria speak of depth, grade, vessels and size; a positive margin or piecemeal removal is a failure whatever they say.",
		"ESGE is remembered to set no size limit for sm1.",
	},
}, "", gatherBarrett, []row[squamousFacts]{
	{when: "lymphovascular invasion", then: "outside", values: within(false), is: func(f squamousFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: outside the curative criteria"},
	{when: "poorly or undifferentiated", then: "outside", values: within(false), is: func(f squamousFacts) fact { return f.grade.no() },
		reason: "Poorly or undifferentiated: outside the curative criteria"},
	{when: "mucosal, well or moderately differentiated, no lymphovascular invasion", then: "within", values: within(true),
		is:     func(f squamousFacts) fact { return f.depth.atMost(0) },
		reason: "Mucosal, well or moderately differentiated, no vessel invasion: within the curative criteria at any size"},
	{when: "submucosal up to 500 µm, below 30 mm", then: "within", values: within(true),
		is:     func(f squamousFacts) fact { return all(f.depth.atMost(sm1Barrett), f.size.below(30)) },
		reason: "Up to 500 µm into the submucosa and below 30 mm: within the extended criteria"},
	{when: "otherwise", then: "outside", values: within(false), is: func(squamousFacts) fact { return always() },
		reason: "Deeper than 500 µm, or 30 mm and more in the submucosa: outside the curative criteria"},
}))

// ESGE classes in Barrett's oesophagus; the low-risk step is from memory.
var ruleBarrettESGE = ofNeoplasia(listed(rule{
	id: "R5.oeso.eac.curability.esge2022", title: "Risk class of the Barrett resection (ESGE)",
	from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: barrettSpecimen,
	cautions: []string{"That sm1 ends at 500 µm here is from memory."},
}, "risk", gatherBarrett, []row[squamousFacts]{
	{when: "lymphovascular invasion", then: "high", is: func(f squamousFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: high risk, for the multidisciplinary discussion"},
	{when: "deeper than sm1 (above 500 µm)", then: "high", is: func(f squamousFacts) fact { return f.depth.above(sm1Barrett) },
		reason: "The invasion is deeper than sm1: high risk, for the multidisciplinary discussion"},
	{when: "vertical margin positive", then: "high", is: func(f squamousFacts) fact { return f.vm.yes() },
		reason: "The vertical margin is positive: high risk, for the multidisciplinary discussion"},
	{when: "undifferentiated", then: "high", is: func(f squamousFacts) fact { return f.grade.no() },
		reason: "Poorly or undifferentiated tumour: high risk, for the multidisciplinary discussion"},
	{when: "sm1 with a positive horizontal margin or piecemeal", then: "undetermined",
		is:     func(f squamousFacts) fact { return all(f.depth.above(0), f.incomplete()) },
		reason: "Local risk presupposes no submucosal invasion, and no high-risk feature is there", caution: undeterminedESGE},
	{when: "piecemeal or horizontal margin positive, no submucosal invasion", then: "local",
		is:     func(f squamousFacts) fact { return f.incomplete() },
		reason: "Only the horizontal margin or the piecemeal removal fails: risk of local recurrence"},
	{when: "sm1 (up to 500 µm), any size, en bloc R0", then: "low", confirmed: Memory,
		is:     func(f squamousFacts) fact { return f.depth.above(0) },
		reason: "Up to 500 µm into the submucosa, well or moderately differentiated, en bloc R0: low risk"},
	{when: "intramucosal, well or moderately differentiated, en bloc R0", then: "very-low",
		is:     func(squamousFacts) fact { return always() },
		reason: "En bloc R0, no deeper than the mucosa, well or moderately differentiated, no vessel invasion: very low risk, curative"},
}))

type barrettLesion struct{ shape, malignant, size *finding }

// ESGE 2022: ESD in Barrett's oesophagus is suggested for suspected submucosal
// invasion (0-Is, 0-IIc), malignant lesions above 20 mm, and scarred areas.
var ruleBarrettESD = listed(rule{
	id: "R5.oeso.eac.technique.esge2022", title: "ESD in Barrett's oesophagus (ESGE)",
	from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: glandular,
	cautions: []string{"Scarred or fibrotic areas are a ground of their own and cannot be read from the examination."},
}, "technique", func(k *look) barrettLesion {
	e := k.examination()
	f := barrettLesion{
		shape:     k.sign("/examination/paris", "Paris type", unknown, "not reported", "0-Is or 0-IIc", "neither 0-Is nor 0-IIc"),
		malignant: k.answer("/examination/suspected_malignancy", "suspicion of malignancy", e.SuspectMalignant),
		size:      k.clinicalSize(),
	}
	if len(e.Paris) > 0 {
		f.shape.sign = no
		for _, p := range e.Paris {
			if p == report.Paris0Is || p == report.Paris0IIc {
				f.shape.sign = yes
			}
		}
	}
	return f
}, []row[barrettLesion]{
	{when: "0-Is or 0-IIc", then: "ESD-suggested", is: func(f barrettLesion) fact { return f.shape.yes() },
		reason: "A sessile or depressed part raises the suspicion of submucosal invasion: ESD is suggested"},
	{when: "malignant, above 20 mm", then: "ESD-suggested", is: func(f barrettLesion) fact { return all(f.malignant.yes(), f.size.above(20)) },
		reason: "A malignant lesion above 20 mm: ESD is suggested"},
	{when: "otherwise", then: "not-named", is: func(barrettLesion) fact { return always() },
		reason: "None of the grounds that the guideline names for ESD is reported"},
})

// ESGE 2023: surveillance of Barrett's oesophagus that was not resected.
var ruleBarrettSurveillance = listed(rule{
	id: "R5.oeso.barrett.surveillance.esge2023", title: "Surveillance of unresected Barrett's oesophagus (ESGE)",
	from: esge2023, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool {
		return inOesophagus(k) && k.examination().Mucosa == report.Barrett && !handled(k)
	},
	cautions: []string{
		"For Barrett's oesophagus without dysplasia; surveillance may stop at 75 years.",
		"Needs at least 1 minute and one picture for each cm.",
	},
}, "interval", func(k *look) *finding {
	return k.number("/examination/prague_m_cm", "maximal Barrett extent", "cm", k.examination().PragueMCm)
}, []row[*finding]{
	{when: "below 1 cm", then: "none-named", is: func(f *finding) fact { return f.below(1) },
		reason: "Shorter than 1 cm: the guideline names no interval"},
	{when: "1 to below 3 cm", then: "5y", is: func(f *finding) fact { return f.below(3) }, reason: "From 1 to below 3 cm: 5 years"},
	{when: "3 to below 10 cm", then: "3y", is: func(f *finding) fact { return f.below(10) }, reason: "From 3 to below 10 cm: 3 years"},
	{when: "10 cm or more", then: "expert-centre", is: func(*finding) fact { return always() },
		reason: "10 cm or longer: an expert centre"},
})
