package assess

import (
	"strconv"

	"enbloc/mapping/report"
)

// gastricLesionFacts are the inputs of gastric indications: as seen, before the
// resection.
type gastricLesionFacts struct {
	diff, size, ulcer, mucosal *finding
	again                      recurrence
}

func gatherIndication(k *look) gastricLesionFacts {
	return gastricLesionFacts{
		again: k.recurrence(), diff: k.clinicallyDifferentiated(), mucosal: k.clinicalT1a(),
		ulcer: k.clinicallyUlcerated(), size: k.clinicalSize(),
	}
}

// fits is one line of an indication table: group, ulcer and size of a cT1a.
func (f gastricLesionFacts) fits(diff, ulcer truth, size fact) fact {
	facts := []fact{f.mucosal.yes(), size, f.ulcer.yes(), f.diff.yes()}
	if ulcer == no {
		facts[2] = f.ulcer.no()
	}
	if diff == no {
		facts[3] = f.diff.no()
	}
	return all(facts...)
}

// recurrence is a lesion that has grown back after a resection at its place.
type recurrence struct{ local, afterC1, wasAbsolute *finding }

// recurrence reads the earlier resections of this lesion. A stated intent
// other than recurrence says that this is the first time.
func (k *look) recurrence() recurrence {
	b := k.before()
	at := func(name, ifYes, ifNo string) *finding {
		return k.add(finding{path: "/before/earlier", name: name, isSign: true, why: "not reported", ifYes: ifYes, ifNo: ifNo})
	}
	r := recurrence{
		local:       at("earlier resection at this place", "a local recurrence", "no recurrence"),
		afterC1:     at("curability of the earlier resection", "eCura C-1", "another grade"),
		wasAbsolute: at("indication of the earlier resection", "absolute", "another one"),
	}
	for i, e := range b.Earlier {
		if e.Kind != report.EarlierResection || e.Lesion != 0 && e.Lesion != k.lesion.Number {
			continue
		}
		entry := "/before/earlier/" + strconv.Itoa(i)
		r.local.path, r.afterC1.path, r.wasAbsolute.path = entry+"/local_recurrence", entry+"/ecura", entry+"/indication"
		r.local.sign = truthOfAnswer(e.LocalRecurrence)
		if report.Known(e.ECura) {
			r.afterC1.sign = truthOf(e.ECura == report.EarlierECuraC1)
		}
		if report.Known(e.Indication) {
			r.wasAbsolute.sign = truthOf(e.Indication == report.EarlierAbsolute)
		}
		return r
	}
	if report.Known(b.Indication) && b.Indication != report.IntentRecurrence {
		r.local.path, r.local.sign = "/before/indication", no
	}
	return r
}

// JGES 2nd edition and JGCA 6th edition: absolute rows as tabulated in Clin
// Oncol Res 2022, COR-2022-1-103, Table 1; expanded and relative from a
// summary of the same guideline.
var ruleIndicationJGES = listed(rule{
	id: "R1.gastric.indication.jges2020", title: "Indication for gastric resection (JGES/JGCA)",
	from: jges2020, confirmed: SecondHand, scope: ScopeLesion, applies: inStomach,
	cautions: []string{"Clinical findings and the endoscopic size decide; older tables print \"below\" where this edition has \"up to\"."},
}, "indication", gatherIndication, []row[gastricLesionFacts]{
	{when: "local recurrence, intramucosal, of an absolute indication judged eCura C-1", then: "expanded",
		is: func(f gastricLesionFacts) fact {
			return all(f.again.local.yes(), f.again.afterC1.yes(), f.again.wasAbsolute.yes(), f.mucosal.yes())
		},
		reason: "Intramucosal local recurrence after an absolute indication judged eCura C-1: expanded indication"},
	{when: "any other local recurrence", then: "relative",
		is:     func(f gastricLesionFacts) fact { return f.again.local.yes() },
		reason: "Local recurrence that does not meet the expanded indication"},
	{when: "differentiated, cT1a, UL0, up to 20 mm", then: "absolute-EMR-or-ESD",
		is:     func(f gastricLesionFacts) fact { return f.fits(yes, no, f.size.atMost(20)) },
		reason: "Differentiated cT1a without ulcer up to 20 mm: absolute indication for EMR or ESD"},
	{when: "differentiated, cT1a, UL0, above 20 mm", then: "absolute-ESD",
		is:     func(f gastricLesionFacts) fact { return f.fits(yes, no, always()) },
		reason: "Differentiated cT1a without ulcer above 20 mm: absolute indication for ESD"},
	{when: "differentiated, cT1a, UL1, up to 30 mm", then: "absolute-ESD",
		is:     func(f gastricLesionFacts) fact { return f.fits(yes, yes, f.size.atMost(30)) },
		reason: "Differentiated cT1a with an ulcer up to 30 mm: absolute indication for ESD"},
	{when: "undifferentiated, cT1a, UL0, up to 20 mm", then: "absolute-ESD",
		is:     func(f gastricLesionFacts) fact { return f.fits(no, no, f.size.atMost(20)) },
		reason: "Undifferentiated cT1a without ulcer up to 20 mm: absolute indication for ESD"},
	{when: "everything else for which endoscopic treatment is chosen on the patient's grounds", then: "relative",
		is:     func(gastricLesionFacts) fact { return always() },
		reason: "Outside the absolute rows: at most a relative indication, on the patient's grounds"},
})

// Korean guideline 2020, statements G3 to G5 (Table 3).
var ruleIndicationKorea = listed(rule{
	id: "R1.gastric.indication.korea2020", title: "Indication for gastric resection (Korea)",
	from: korea2020, confirmed: Primary, scope: ScopeLesion, applies: inStomach,
}, "statement", gatherIndication, []row[gastricLesionFacts]{
	{when: "differentiated, mucosal, no ulcer, up to 20 mm", then: "G3", values: map[string]any{"strength": "strong"},
		is:     func(f gastricLesionFacts) fact { return f.fits(yes, no, f.size.atMost(20)) },
		reason: "Well or moderately differentiated, mucosal, up to 20 mm, no ulcer: recommended (G3, strong)"},
	{when: "differentiated, mucosal, no ulcer, above 20 mm", then: "G4", values: map[string]any{"strength": "weak"},
		is:     func(f gastricLesionFacts) fact { return f.fits(yes, no, always()) },
		reason: "Well or moderately differentiated, mucosal, above 20 mm, no ulcer: suggested (G4, weak)"},
	{when: "differentiated, mucosal, ulcer, up to 30 mm", then: "G4", values: map[string]any{"strength": "weak"},
		is:     func(f gastricLesionFacts) fact { return f.fits(yes, yes, f.size.atMost(30)) },
		reason: "Well or moderately differentiated, mucosal, with an ulcer, up to 30 mm: suggested (G4, weak)"},
	{when: "undifferentiated, mucosal, no ulcer, up to 20 mm", then: "G5", values: map[string]any{"strength": "weak"},
		is:     func(f gastricLesionFacts) fact { return f.fits(no, no, f.size.atMost(20)) },
		reason: "Undifferentiated, mucosal, up to 20 mm, no ulcer: suggested (G5, weak)"},
	{when: "otherwise", then: "none", is: func(gastricLesionFacts) fact { return always() },
		reason: "None of the statements G3 to G5 covers this lesion"},
})
