package assess

func defect(k *look) *finding {
	return k.number("/resection/defect_circumference_pct", "share of the circumference that the defect takes", "%",
		k.resection().DefectCircumferencePct)
}

func oesophagealDefect(k *look) bool { return inOesophagus(k) && resected(k) }

const ofTheDefect = "The mucosal defect counts, not the lesion."

// Korean guideline 2020, statement E6 (strong): more than three quarters.
var ruleStrictureKorea = listed(rule{
	id: "R5.oeso.stricture.korea2020", title: "Steroid against stricture (Korea, E6)",
	from: korea2020, confirmed: Primary, scope: ScopeLesion, applies: oesophagealDefect,
	cautions: []string{ofTheDefect, "JES draws the line at three quarters inclusive: at exactly 75% the two differ."},
}, "steroid_prophylaxis", defect, []row[*finding]{
	{when: "defect above 75% of the circumference", then: "recommended", is: func(f *finding) fact { return f.above(75) },
		reason: "The defect takes more than three quarters of the circumference: oral or injected steroid is recommended"},
	{when: "otherwise", then: "not-triggered", is: func(*finding) fact { return always() },
		reason: "The defect takes three quarters of the circumference or less: the statement is not triggered"},
})

// JES 2022 (quoted passages): three quarters or more.
var ruleStrictureJES = listed(rule{
	id: "R5.oeso.stricture.jes2022", title: "Prevention of stricture (JES 2022)",
	from: jes2022, confirmed: SecondHand, scope: ScopeLesion, applies: oesophagealDefect,
	cautions: []string{ofTheDefect, "Without prevention, 50 to 80% of defects of three quarters and more that are not circumferential narrow (quoted figure, no interval seen)."},
}, "steroid_prophylaxis", defect, []row[*finding]{
	{when: "defect of 75% of the circumference or more", then: "recommended", is: func(f *finding) fact { return f.atLeast(75) },
		reason: "The defect takes three quarters of the circumference or more: prevention is recommended"},
	{when: "otherwise", then: "not-triggered", is: func(*finding) fact { return always() },
		reason: "The defect takes less than three quarters of the circumference: the statement is not triggered"},
})
