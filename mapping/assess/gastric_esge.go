package assess

const undeterminedESGE = "The confirmed ESGE wording does not place this combination: to be discussed, not guessed."

// ESGE classes in the stomach. The abstract confirms very low, local and high;
// the low-risk limits of the stomach are from memory.
var ruleGastricESGE = ofNeoplasia(listed(rule{
	id: "R2.gastric.curability.esge2022", title: "Risk class of the gastric resection (ESGE)",
	from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: gastricSpecimen,
	cautions: []string{"sm1 is up to and including 500 µm here; the Japanese guideline counts exactly 500 µm as deeper."},
}, "risk", gatherESGEGastric, []row[gastricSpecimenFacts]{
	{when: "lymphovascular invasion", then: "high", is: func(f gastricSpecimenFacts) fact { return f.vessels.present() },
		reason: "Vessels are invaded: high risk, complete staging and further treatment are for the multidisciplinary discussion"},
	{when: "deeper than sm1 (above 500 µm)", then: "high", is: func(f gastricSpecimenFacts) fact { return f.depth.above(500) },
		reason: "The invasion is deeper than sm1: high risk, complete staging and further treatment are for the multidisciplinary discussion"},
	{when: "vertical margin positive", then: "high", is: func(f gastricSpecimenFacts) fact { return f.vm.yes() },
		reason: "The vertical margin is positive: high risk, complete staging and further treatment are for the multidisciplinary discussion"},
	{when: "undifferentiated, intramucosal, up to 20 mm, no ulcer, en bloc R0", then: "low", confirmed: Memory,
		is: func(f gastricSpecimenFacts) fact {
			return all(f.diff.no(), f.depth.atMost(0), f.size.atMost(20), f.ulcer.no(), not(f.incomplete()))
		},
		reason:  "Undifferentiated, but within the mucosa, up to 20 mm and without ulcer: low risk",
		caution: "Check: the abstract's high-risk sentence names undifferentiated tumour without a size."},
	{when: "undifferentiated otherwise", then: "high", is: func(f gastricSpecimenFacts) fact { return f.diff.no() },
		reason: "Undifferentiated tumour: high risk, complete staging and further treatment are for the multidisciplinary discussion"},
	{when: "sm1 with a positive horizontal margin or piecemeal", then: "undetermined",
		is:     func(f gastricSpecimenFacts) fact { return all(f.submucosal(), f.incomplete()) },
		reason: "Local risk presupposes no submucosal invasion, and no high-risk feature is there", caution: undeterminedESGE},
	{when: "sm1, above 30 mm", then: "undetermined", confirmed: Memory,
		is:     func(f gastricSpecimenFacts) fact { return all(f.submucosal(), f.size.above(30)) },
		reason: "Larger than the low-risk limit for sm1, yet no high-risk feature is named", caution: undeterminedESGE},
	{when: "ulcerated, above 30 mm", then: "undetermined", confirmed: Memory,
		is:     func(f gastricSpecimenFacts) fact { return all(f.ulcer.yes(), f.size.above(30)) },
		reason: "Larger than the low-risk limit for an ulcerated lesion, yet no high-risk feature is named", caution: undeterminedESGE},
	{when: "piecemeal or horizontal margin positive, no submucosal invasion", then: "local",
		is:     func(f gastricSpecimenFacts) fact { return f.incomplete() },
		reason: "Only the horizontal margin or the piecemeal removal fails: risk of local recurrence, for surveillance or re-treatment rather than surgery"},
	{when: "sm1 (up to 500 µm), up to 30 mm, en bloc R0", then: "low", confirmed: Memory,
		is:     func(f gastricSpecimenFacts) fact { return f.submucosal() },
		reason: "Well or moderately differentiated, up to 500 µm into the submucosa, up to 30 mm, en bloc R0: low risk"},
	{when: "intramucosal, ulcerated, up to 30 mm, en bloc R0", then: "low", confirmed: Memory,
		is:      func(f gastricSpecimenFacts) fact { return f.ulcer.yes() },
		reason:  "Within the mucosa with an ulcer, up to 30 mm, en bloc R0: low risk",
		caution: "The abstract keeps ulceration out of the very-low class; a transcription of a later European figure puts differentiated ulcerated lesions up to 30 mm into it."},
	{when: "intramucosal, not ulcerated, well or moderately differentiated, en bloc R0", then: "very-low",
		is:     func(gastricSpecimenFacts) fact { return always() },
		reason: "En bloc R0, no deeper than the mucosa, well or moderately differentiated, no vessel invasion and no ulcer: very low risk, curative"},
}))

func gatherESGEGastric(k *look) gastricSpecimenFacts {
	return gastricSpecimenFacts{
		diff: k.wellOrModerate(), depth: k.depth(below500), size: k.tumourSize(), ulcer: k.ulcerated(),
		bloc: k.oneBloc(), hm: k.horizontalMargin(), vm: k.verticalMargin(), vessels: k.invasion(),
	}
}
