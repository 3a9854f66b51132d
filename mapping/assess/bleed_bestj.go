package assess

import "enbloc/mapping/report"

type bestJ struct {
	warfarin, doac, p2y12, aspirin, cilostazol drug
	dialysis, size, lower, multiple            *finding
}

func gatherBestJ(k *look) bestJ {
	return bestJ{
		warfarin: k.drug(report.Warfarin, "warfarin"), doac: k.drug(report.DOAC, "direct oral anticoagulant"),
		p2y12: k.drug(report.P2Y12, "P2Y12 antagonist"), aspirin: k.drug(report.Aspirin, "aspirin"),
		cilostazol: k.drug(report.Cilostazol, "cilostazol"), dialysis: k.haemodialysis(),
		size: k.size(), lower: k.lowerThird(), multiple: k.multiple(),
	}
}

// taken is the item of a drug: its own points, one less when it was stopped
// before the resection.
func taken(points int, what string, of func(bestJ) drug) item[bestJ] {
	return item[bestJ]{points: points, what: what,
		is:   func(b bestJ) fact { return of(b).taken.yes() },
		less: func(b bestJ) fact { return of(b).interrupted.yes() }}
}

func bleeds(pct, low, high float64, events, of int) (map[string]any, *Risk) {
	return map[string]any{"rate_pct": pct, "ci95": []float64{low, high}},
		&Risk{Of: "bleeding within 28 days", Pct: pct, CILow: low, CIHigh: high, Events: events, Denominator: of,
			Setting: "gastric ESD, Japanese multicentre development cohort"}
}

// BEST-J: Hatta, Gut 2021;70:476, table of points and of groups. Aspirin is
// worth 2, and size counts above 30 mm (two secondary texts print "30 or more").
var ruleBestJ = scored(rule{
	id: "R4.bleed.bestj", title: "Risk of delayed bleeding after gastric ESD (BEST-J)",
	from: hatta2021, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool { return inStomach(k) && k.resection().Technique.Dissects() },
	cautions: []string{
		"Drugs other than the five named kinds do not enter the score; a swapped or bridged drug counts as interrupted.",
		"Developed in Japan with interruption times of the Japanese guideline; validated in Europe on 161 patients only (Dig Dis Sci 2024;69:1372).",
	},
}, "group", gatherBestJ, []item[bestJ]{
	taken(4, "warfarin", func(b bestJ) drug { return b.warfarin }),
	taken(4, "direct oral anticoagulant", func(b bestJ) drug { return b.doac }),
	{points: 3, what: "chronic kidney disease with haemodialysis", is: func(b bestJ) fact { return b.dialysis.yes() }},
	taken(2, "P2Y12 antagonist", func(b bestJ) drug { return b.p2y12 }),
	taken(2, "aspirin", func(b bestJ) drug { return b.aspirin }),
	taken(1, "cilostazol", func(b bestJ) drug { return b.cilostazol }),
	{points: 1, what: "size above 30 mm", is: func(b bestJ) fact { return b.size.above(30) }},
	{points: 1, what: "lower third of the stomach", is: func(b bestJ) fact { return b.lower.yes() }},
	{points: 1, what: "multiple tumours", is: func(b bestJ) fact { return b.multiple.yes() }},
}, bestJBands())

func bestJBands() []band {
	b := []band{
		{upTo: 1, group: "low", reason: "Low risk of delayed bleeding."},
		{upTo: 2, group: "intermediate", reason: "Intermediate risk of delayed bleeding."},
		{upTo: 4, group: "high", reason: "High risk of delayed bleeding."},
		{upTo: 19, group: "very-high", reason: "Very high risk of delayed bleeding."},
	}
	b[0].values, b[0].risk = bleeds(2.8, 2.4, 3.2, 175, 6267)
	b[1].values, b[1].risk = bleeds(6.1, 4.8, 7.8, 65, 1059)
	b[2].values, b[2].risk = bleeds(11.4, 9.3, 13.9, 87, 760)
	b[3].values, b[3].risk = bleeds(29.7, 23.5, 36.5, 60, 202)
	return b
}
