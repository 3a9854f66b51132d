package assess

// What the Japanese guideline names after each grade. The conditions after C-1
// were read in a transcription only.
var ruleNextJGES = ofCancer(listed(rule{
	id: "R2.gastric.next.jges2020", title: "What the guideline names after this curability (JGES/JGCA)",
	from: jges2020, confirmed: SecondHand, scope: ScopeLesion, applies: gastricSpecimen,
	cautions: []string{"Options that the guideline names, for discussion with the patient; the choice is not this program's."},
}, "options", func(k *look) gradeFacts {
	return gradeFacts{gatherGastric(below500)(k)}
}, []row[gradeFacts]{
	{when: "eCura A", then: "surveillance", is: func(f gradeFacts) fact { return f.graded("A") },
		reason: "eCura A: surveillance by endoscopy"},
	{when: "eCura B", then: "surveillance-with-imaging", is: func(f gradeFacts) fact { return f.graded("B") }, confirmed: Transcription,
		reason: "eCura B: surveillance by endoscopy with ultrasound or CT"},
	{when: "eCura C-1, pT1a without ulcer", then: "local-options", confirmed: Transcription,
		is:     func(f gradeFacts) fact { return all(f.graded("C-1"), f.depth.atMost(0), f.ulcer.no()) },
		reason: "eCura C-1: repeat ESD, ablation, close follow-up or surgery are named"},
	{when: "eCura C-1, pT1a with ulcer or pT1b", then: "local-options-or-surgery", confirmed: Transcription,
		is:     func(f gradeFacts) fact { return f.graded("C-1") },
		reason: "eCura C-1 with an ulcer or in the submucosa: surgery in principle when remnant and specimen together exceed 30 mm, or when the submucosal part is piecemeal or at the margin"},
	{when: "eCura C-2", then: "additional-gastrectomy-in-principle", is: func(gradeFacts) fact { return always() },
		reason:  "eCura C-2: additional gastrectomy in principle",
		caution: "Lymph node metastasis in eCura C-2 was found in 4 to 11% (Gastroenterol Endosc 2018;60:1173); the eCura score refines this."},
}))

// gradeFacts are the facts of a specimen together with its eCura grade.
type gradeFacts struct{ gastricSpecimenFacts }

// graded is the fact that the eCura grade is the given one.
func (f gradeFacts) graded(grade string) fact {
	w := walk(f.gastricSpecimenFacts, eCuraRows)
	hit := false
	for _, i := range w.possible {
		hit = hit || eCuraRows[i].then == grade
	}
	switch {
	case !hit:
		return fact{is: no, seen: w.seen}
	case w.decided:
		return fact{is: yes, seen: w.seen}
	}
	return fact{is: unknown, seen: w.seen, open: w.open}
}

// Points of the eCura score: Hatta, Am J Gastroenterol 2017;112:874. Size
// counts above 30 mm, depth from 500 µm.
var ruleECuraScore = ofCancer(onlyC2(scored(rule{
	id: "R3.gastric.lnm.ecura_score", title: "Risk of lymph node metastasis after eCura C-2 (eCura score)",
	from: hatta2017, confirmed: Primary, scope: ScopeLesion, applies: gastricSpecimen,
	cautions: []string{
		"For eCura C-2 only. Lymphatic and venous invasion are separate items: an undivided finding leaves the score open.",
		"Undifferentiated type: 5-year cancer-specific survival 99.6, 96.9 and 60.6% by group in a later series (Dig Endosc 2026, PMID 41957659).",
	},
}, "group", gatherGastric(below500), []item[gastricSpecimenFacts]{
	{points: 3, what: "lymphatic invasion", is: func(f gastricSpecimenFacts) fact { return f.vessels.ly.yes() }},
	{points: 1, what: "size above 30 mm", is: func(f gastricSpecimenFacts) fact { return f.size.above(30) }},
	{points: 1, what: "positive vertical margin", is: func(f gastricSpecimenFacts) fact { return f.vm.yes() }},
	{points: 1, what: "venous invasion", is: func(f gastricSpecimenFacts) fact { return f.vessels.v.yes() }},
	{points: 1, what: "submucosal invasion of 500 µm or more", is: func(f gastricSpecimenFacts) fact { return f.depth.atLeast(500) }},
}, []band{
	nodes(1, "low", 2.5, 99.6, "Low risk of lymph node metastasis."),
	nodes(4, "intermediate", 6.7, 96.0, "Intermediate risk of lymph node metastasis."),
	nodes(7, "high", 22.7, 90.1, "High risk of lymph node metastasis."),
})))

func nodes(upTo int, group string, pct, survival float64, reason string) band {
	return band{upTo: upTo, group: group, reason: reason,
		values: map[string]any{"lnm_pct": pct, "css5y_pct": survival},
		risk: &Risk{Of: "lymph node metastasis", Pct: pct,
			Setting: "development cohort of 1,101 operated patients, all groups together; no interval per group was seen"}}
}

// onlyC2 keeps the score to the lesions it was made for. Computed for A, B or
// C-1 it would be meaningless.
func onlyC2(r *rule) *rule {
	ask := r.ask
	r.ask = func(r *rule, k *look) Result {
		f := gradeFacts{gatherGastric(below500)(k)}
		g := f.graded("C-2")
		switch g.is {
		case no:
			return r.unconcerned(k, "The score is for eCura C-2 only, and this lesion is not graded C-2.", k.pointers(g.seen)...)
		case unknown:
			return r.undecided(k, g.seen, g.open, "the score applies only if the grade is eCura C-2")
		}
		k.reset()
		return ask(r, k)
	}
	return r
}
