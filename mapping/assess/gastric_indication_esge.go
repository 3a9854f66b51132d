package assess

import (
	"math"

	"enbloc/mapping/report"
)

// clinicalDepth is the depth that is expected, in µm: 0 within the mucosa.
func (k *look) clinicalDepth() *finding {
	e := k.examination()
	f := k.number("/examination/predicted_sm_depth_um", "expected submucosal depth", "µm", e.PredictedSMUm)
	um, known := e.PredictedSMUm.Value()
	step := func(lo, hi float64) {
		f.path, f.lack, f.lo, f.hi = "/examination/predicted_depth", "/examination/predicted_sm_depth_um", lo, hi
	}
	switch d := e.PredictedDepth; {
	case d == report.PredictT2:
		step(math.Inf(1), math.Inf(1))
	case known && um > 0: // a figure outranks the step
	case d == report.PredictT1a || d == report.PredictT1aEPLPM:
		step(0, 0)
	case d == report.PredictT1bSM1:
		step(almostNothing, 500)
	case d == report.PredictT1bSM2:
		step(math.Nextafter(500, 501), math.Inf(1))
	case d == report.PredictT1b:
		step(almostNothing, math.Inf(1))
	default:
		f.path, f.name, f.why = "/examination/predicted_depth", "expected depth", why(report.AbsenceOf(d))
		f.lo, f.hi = 0, math.Inf(1)
	}
	return f
}

type esgeLesionFacts struct {
	dysplasia, diff, size, ulcer, depth *finding
}

func gatherESGELesion(k *look) esgeLesionFacts {
	return esgeLesionFacts{
		dysplasia: k.onlyDysplasia(), diff: k.clinicallyDifferentiated(), depth: k.clinicalDepth(),
		ulcer: k.clinicallyUlcerated(), size: k.clinicalSize(),
	}
}

// onlyDysplasia is whether the biopsies show dysplasia or adenoma and no cancer.
func (k *look) onlyDysplasia() *finding {
	f := k.sign("/examination/biopsy_types", "histology before the resection", unknown, "not reported", "dysplasia", "cancer")
	types := k.examination().BiopsyTypes
	if len(types) == 0 && report.Known(k.examination().PredictedHistology) {
		types, f.path = []report.HistologyType{k.examination().PredictedHistology}, "/examination/predicted_histology"
	}
	if len(types) == 0 {
		return f
	}
	f.sign = yes
	for _, t := range types {
		switch {
		case isCarcinoma(t):
			f.sign = no
			return f
		case !oneOf(t, report.TypeDysplasia, report.TypeAdenoma, report.TypeTubularAdenoma, report.TypeTubulovillous, report.TypeVillousAdenoma):
			f.sign, f.why = unknown, "does not tell cancer from dysplasia"
		}
	}
	return f
}

// ESGE 2015 set as tabulated in World J Gastrointest Surg 2021;13:1180, Table 1.
var ruleIndicationESGE2015 = listed(rule{
	id: "R1.gastric.indication.esge2015", title: "Indication criteria for gastric resection (ESGE 2015)",
	from: esge2015, confirmed: SecondHand, scope: ScopeLesion, applies: inStomach,
	cautions: []string{"ESGE 2022 no longer uses these labels; sm1 is up to and including 500 µm."},
}, "criteria", gatherESGELesion, []row[esgeLesionFacts]{
	{when: "dysplasia, no ulcer, any size", then: "dysplasia",
		is:     func(f esgeLesionFacts) fact { return all(f.dysplasia.yes(), f.ulcer.no()) },
		reason: "Dysplasia without ulcer: within the criteria at any size"},
	{when: "dysplasia with an ulcer", then: "outside-criteria", is: func(f esgeLesionFacts) fact { return f.dysplasia.yes() },
		reason: "Dysplasia with an ulcer is in no row of the table"},
	{when: "differentiated, T1a, no ulcer, up to 20 mm", then: "absolute",
		is: func(f esgeLesionFacts) fact {
			return all(f.diff.yes(), f.depth.atMost(0), f.ulcer.no(), f.size.atMost(20))
		},
		reason: "Differentiated T1a without ulcer up to 20 mm: absolute criteria"},
	{when: "differentiated, T1a, no ulcer, above 20 mm", then: "expanded-A",
		is: func(f esgeLesionFacts) fact {
			return all(f.diff.yes(), f.depth.atMost(0), f.ulcer.no())
		},
		reason: "Differentiated T1a without ulcer above 20 mm: expanded criteria A"},
	{when: "differentiated, T1a, ulcer, up to 30 mm", then: "expanded-B",
		is: func(f esgeLesionFacts) fact {
			return all(f.diff.yes(), f.depth.atMost(0), f.ulcer.yes(), f.size.atMost(30))
		},
		reason: "Differentiated T1a with an ulcer up to 30 mm: expanded criteria B"},
	{when: "undifferentiated, T1a, no ulcer, up to 20 mm", then: "expanded-C",
		is: func(f esgeLesionFacts) fact {
			return all(f.diff.no(), f.depth.atMost(0), f.ulcer.no(), f.size.atMost(20))
		},
		reason: "Undifferentiated T1a without ulcer up to 20 mm: expanded criteria C"},
	{when: "differentiated, sm1 up to 500 µm, no ulcer, up to 30 mm", then: "expanded-D",
		is: func(f esgeLesionFacts) fact {
			return all(f.diff.yes(), f.depth.atMost(500), f.ulcer.no(), f.size.atMost(30))
		},
		reason: "Differentiated, up to 500 µm into the submucosa, without ulcer, up to 30 mm: expanded criteria D"},
	{when: "otherwise", then: "outside-criteria", is: func(esgeLesionFacts) fact { return always() },
		reason: "The lesion fits no row of the table"},
})

type techniqueFacts struct {
	size, flat, malignant *finding
}

// ESGE 2022: ESD is the treatment of choice for most superficial gastric
// lesions (abstract); the EMR exception is from memory.
var ruleTechniqueESGE = listed(rule{
	id: "R1.gastric.technique.esge2022", title: "Technique for a superficial gastric lesion (ESGE)",
	from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: inStomach,
	cautions: []string{"ESGE 2022 no longer uses the 2015 indication labels."},
}, "technique", func(k *look) techniqueFacts {
	e := k.examination()
	f := techniqueFacts{size: k.clinicalSize(), malignant: k.answer("/examination/suspected_malignancy", "suspicion of malignancy", e.SuspectMalignant)}
	f.flat = k.sign("/examination/paris", "Paris type", unknown, "not reported", "0-IIa", "another type")
	if len(e.Paris) > 0 {
		f.flat.sign = truthOf(len(e.Paris) == 1 && e.Paris[0] == report.Paris0IIa)
	}
	return f
}, []row[techniqueFacts]{
	{when: "up to 10 mm, 0-IIa, low likelihood of malignancy", then: "EMR-acceptable", confirmed: Memory,
		is:     func(f techniqueFacts) fact { return all(f.size.atMost(10), f.flat.yes(), f.malignant.no()) },
		reason: "Small 0-IIa lesion unlikely to be malignant: EMR is acceptable"},
	{when: "otherwise", then: "ESD-treatment-of-choice", is: func(techniqueFacts) fact { return always() },
		reason: "ESD is the treatment of choice for most superficial gastric lesions"},
})
