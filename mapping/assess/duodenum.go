package assess

import "enbloc/mapping/report"

type duodenalFacts struct{ size, malignant, papilla *finding }

// ESGE 2021, statements 5 and 6 (statement 7: ESD only in expert hands).
var ruleDuodenum = listed(rule{
	id: "R7.duodenum.esge2021", title: "Technique for a duodenal adenoma (ESGE)", from: esge2021d, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool { return k.examination().Organ == report.Duodenum },
	cautions: []string{
		"All duodenal adenomas are considered for resection; ESD is for expert hands only, and colonoscopy is due if not done.",
	},
}, "technique", func(k *look) duodenalFacts {
	e := k.examination()
	f := duodenalFacts{
		size:      k.clinicalSize(),
		malignant: k.answer("/examination/suspected_malignancy", "suspicion of malignancy", e.SuspectMalignant),
		papilla:   k.answer("/examination/involves_papilla", "involvement of the papilla", e.Papilla),
	}
	if e.Site == report.SiteMajorPapilla {
		f.papilla.path, f.papilla.sign = "/examination/site", yes
	}
	return f
}, []row[duodenalFacts]{
	{when: "malignant or ampullary", then: "not-by-this-rule", is: func(f duodenalFacts) fact { return anyOf(f.malignant.yes(), f.papilla.yes()) },
		reason: "The two statements are about non-malignant, non-ampullary lesions"},
	{when: "below 6 mm", then: "cold-snare-suggested", is: func(f duodenalFacts) fact { return f.size.below(6) },
		reason: "Non-malignant, below 6 mm: cold snare is suggested"},
	{when: "larger", then: "EMR-first-line", is: func(duodenalFacts) fact { return always() },
		reason: "Non-malignant, non-ampullary, 6 mm or more: EMR is first line"},
})
