package assess

import "enbloc/mapping/report"

// figuresOf are the published accuracy of a sign, in percent.
func figuresOf(sens, spec, accuracy float64) map[string]any {
	return map[string]any{"sens_pct": sens, "spec_pct": spec, "accuracy_pct": accuracy}
}

// Nagahama, Gastric Cancer 2017;20:304: 863 lesions in 704 patients. The
// abstract swaps the labels of its false positives and negatives; the rates
// need 9 false negatives and 17 false positives.
var ruleNonExtension = lookedUp(rule{
	id: "R8.gastric.nes", title: "Depth by the non-extension sign (stomach)", from: nagahama, confirmed: Primary, scope: ScopeLesion, applies: inStomach,
	cautions: []string{
		"Needs strong insufflation; histology decides.",
		"Sensitivity 92.0% (87.0-97.0), specificity 97.7% (96.7-98.8), accuracy 96.9%; the abstract prints 9 false positives and 17 false negatives, its rates need them the other way round.",
	},
	notes: func(k *look) string {
		if k.examination().FullInsufflation == report.No {
			return "The stomach was not fully insufflated when the sign was read."
		}
		return ""
	},
}, "predicted_depth", "/examination/non_extension_sign", "non-extension sign", func(k *look) report.Sign {
	return k.examination().NonExtension
}, []entry[report.Sign]{
	{class: report.Positive, then: "SM2", values: figuresOf(92.0, 97.7, 96.9), reason: "The sign is positive: invasion of 500 µm or more is predicted",
		risk: &Risk{Of: "submucosal invasion of 500 µm or more", Pct: 85.9, CILow: 79.7, CIHigh: 92.1, Events: 104, Denominator: 121, Setting: "lesions with the sign"}},
	{class: report.Negative, then: "M-SM1", values: figuresOf(92.0, 97.7, 96.9), reason: "The sign is negative: mucosal or less than 500 µm is predicted",
		risk: &Risk{Of: "no submucosal invasion of 500 µm or more", Pct: 98.8, CILow: 98.0, CIHigh: 99.6, Events: 733, Denominator: 742, Setting: "lesions without the sign"}},
})

type stiffness struct{ arc, trapezoid, folds *finding }

// Hisabe, Endosc Int Open 2018;6:E156 (n=315): any one of three looks counts.
var ruleNonExtensionColon = listed(rule{
	id: "R8.colorectal.nes", title: "Depth by the non-extension sign (colorectum)", from: hisabe, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool {
		e := k.examination()
		return inColorectum(k) && (e.RigidArc != "" || e.TrapezoidElevation != "" || e.ConvergingFolds != "")
	},
	cautions: []string{"Sensitivity 66.0%, specificity 95.8%, accuracy 86.3%; histology decides."},
}, "predicted_depth", func(k *look) stiffness {
	e := k.examination()
	return stiffness{
		arc:       k.answer("/examination/rigid_arc", "rigid arc", e.RigidArc),
		trapezoid: k.answer("/examination/trapezoid_elevation", "trapezoid elevation", e.TrapezoidElevation),
		folds:     k.answer("/examination/converging_folds", "converging folds", e.ConvergingFolds),
	}
}, []row[stiffness]{
	{when: "rigid arc, trapezoid elevation or converging folds", then: "SM 1000 µm or more", values: figuresOf(66.0, 95.8, 86.3),
		is:     func(s stiffness) fact { return anyOf(s.arc.yes(), s.trapezoid.yes(), s.folds.yes()) },
		reason: "A sign of stiffness is there: invasion of 1000 µm or more is predicted"},
	{when: "none of the three", then: "SM below 1000 µm", values: figuresOf(66.0, 95.8, 86.3), is: func(stiffness) fact { return always() },
		reason: "No sign of stiffness: less than 1000 µm is predicted, though a third of deep cancers show none"},
})

// Pooled accuracy of endosonography for depth (PMC6942824).
var ruleEUS = lookedUp(rule{
	id: "R8.gastric.eus", title: "Depth by endosonography", from: eusPooled, confirmed: Primary, scope: ScopeLesion, applies: inStomach,
	cautions: []string{"Pooled sensitivity 0.87 (0.86-0.88), specificity 0.67 (0.65-0.70); histology decides."},
}, "layer", "/examination/eus_depth", "layer on endosonography", func(k *look) report.Layer { return k.examination().EUSDepth }, []entry[report.Layer]{
	{class: report.LayerMucosa, then: "mucosa", values: map[string]any{"sens_pct": 87.0, "spec_pct": 67.0}, reason: "Endosonography shows the lesion within the mucosa"},
	{class: report.LayerSubmucosa, then: "submucosa", values: map[string]any{"sens_pct": 87.0, "spec_pct": 67.0}, reason: "Endosonography shows the lesion in the submucosa"},
	{class: report.LayerMuscularis, then: "muscularis-propria", values: map[string]any{"sens_pct": 87.0, "spec_pct": 67.0}, reason: "Endosonography shows the lesion in the muscularis propria"},
})

type vesselSurface struct {
	line, mvIrregular, msIrregular, mvRegular, msRegular *finding
}

func (k *look) pattern(path, name string, p, is report.Pattern) *finding {
	f := k.sign(path, name, unknown, why(report.AbsenceOf(p)), string(is), "not "+string(is))
	if report.Known(p) {
		f.sign = truthOf(p == is)
	}
	return f
}

// MESDA-G: Dig Endosc 2016;28:379, Fig. 1. The demarcation line comes first.
var ruleVS = listed(rule{
	id: "R8.gastric.vs", title: "Cancer by magnification (VS, MESDA-G)", from: mesda, confirmed: Transcription, scope: ScopeLesion,
	applies: func(k *look) bool {
		e := k.examination()
		return inStomach(k) && (e.Demarcation != "" || e.MicroVessel != "" || e.MicroSurf != "")
	},
	cautions: []string{"97% of cancers fit; the yield in undifferentiated type is unclear. Where white opaque substance hides the vessels, its order grades the surface."},
}, "diagnosis", func(k *look) vesselSurface {
	e := k.examination()
	mv, ms := "/examination/microvascular_pattern", "/examination/microsurface_pattern"
	return vesselSurface{
		line:        k.answer("/examination/demarcation_line", "demarcation line", e.Demarcation),
		mvIrregular: k.pattern(mv, "microvascular pattern", e.MicroVessel, report.PatternIrregular),
		msIrregular: k.pattern(ms, "microsurface pattern", e.MicroSurf, report.PatternIrregular),
		mvRegular:   k.pattern(mv, "microvascular pattern", e.MicroVessel, report.PatternRegular),
		msRegular:   k.pattern(ms, "microsurface pattern", e.MicroSurf, report.PatternRegular),
	}
}, []row[vesselSurface]{
	{when: "no demarcation line", then: "non-cancer", is: func(f vesselSurface) fact { return f.line.no() }, reason: "No demarcation line: reads as non-cancer"},
	{when: "demarcation line, irregular vessels or surface", then: "cancer",
		is:     func(f vesselSurface) fact { return anyOf(f.mvIrregular.yes(), f.msIrregular.yes()) },
		reason: "A demarcation line with an irregular vessel or surface pattern: reads as cancer"},
	{when: "demarcation line, both patterns regular", then: "non-cancer",
		is:     func(f vesselSurface) fact { return all(f.mvRegular.yes(), f.msRegular.yes()) },
		reason: "A demarcation line, but vessels and surface are regular: reads as non-cancer"},
	{when: "demarcation line, a pattern absent and none irregular", then: "undetermined", is: func(vesselSurface) fact { return always() },
		reason: "A pattern is absent and none is irregular: the algorithm as read does not say"},
})
