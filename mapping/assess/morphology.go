package assess

import (
	"slices"

	"enbloc/mapping/report"
)

// Paris workshop 2002. The limit between sessile and slightly raised is 2.5 mm
// (closed forceps), 1.2 mm in squamous oesophagus. Exactly at the limit the
// source is silent: slightly raised is answered, with a warning.
const (
	parisLimit         = 2.5
	parisLimitSquamous = 1.2
)

type shape struct {
	pedicle, height *finding
	limit           float64
}

var ruleParis = listed(rule{
	id: "R8.morph.paris", title: "Paris type by height", from: paris2002, confirmed: SecondHand, scope: ScopeLesion,
	applies:  raised,
	cautions: []string{"Height above the surrounding mucosa tells raised types only; depressed and excavated parts are for the eye."},
	notes:    parisNote,
}, "paris", func(k *look) shape {
	e := k.examination()
	s := shape{limit: parisLimit, pedicle: k.pedicle(), height: k.number("/examination/height_mm", "height", "mm", e.HeightMm)}
	if squamous(k) {
		s.limit = parisLimitSquamous
	}
	return s
}, []row[shape]{
	{when: "pedicle", then: "0-Ip", is: func(s shape) fact { return s.pedicle.yes() }, reason: "On a pedicle: 0-Ip"},
	{when: "raised above 2.5 mm (1.2 mm in squamous oesophagus)", then: "0-Is", is: func(s shape) fact { return s.height.above(s.limit) },
		reason: "Raised above the limit, without pedicle: 0-Is"},
	{when: "raised up to the limit", then: "0-IIa", is: func(s shape) fact { return s.height.above(0) }, reason: "Raised up to the limit: 0-IIa"},
	{when: "flat", then: "0-IIb", is: func(shape) fact { return always() }, reason: "Not raised: 0-IIb"},
})

// raised reports whether height says anything about the lesion: not of one
// that is called purely depressed or excavated.
func raised(k *look) bool {
	e := k.examination()
	depressed := len(e.Paris) > 0 && !slices.ContainsFunc(e.Paris, func(p report.ParisType) bool {
		return p != report.Paris0IIc && p != report.Paris0III
	})
	return !depressed && (e.HeightMm.Reported() || e.Pedicle != "")
}

// pedicle is whether the lesion stands on a stalk: as said, else by the Paris
// types. Types that name no stalk were chosen by somebody who saw none.
func (k *look) pedicle() *finding {
	e := k.examination()
	f := k.answer("/examination/pedicle", "pedicle", e.Pedicle)
	stalked := oneOf(report.Paris0Ip, e.Paris...) || oneOf(report.Paris0Isp, e.Paris...)
	if known := slices.ContainsFunc(e.Paris, report.Known[report.ParisType]); known && !f.known() && !stalked {
		f.path, f.sign = "/examination/paris", no
	}
	return f
}

// parisNote warns at the limit, and where the report states another type.
func parisNote(k *look) string {
	e := k.examination()
	h, known := e.HeightMm.Value()
	limit := parisLimit
	if squamous(k) {
		limit = parisLimitSquamous
	}
	switch {
	case known && h == limit:
		return "The height is exactly at the limit, which the source leaves undefined: the lower type is given."
	case known && len(e.Paris) > 0 && h > limit && oneOf(e.Paris[0], report.Paris0IIa, report.Paris0IIb, report.Paris0IIc):
		return "The report states " + string(e.Paris[0]) + ", which does not go with this height."
	}
	return ""
}

func smi(pct, low, high float64) (map[string]any, *Risk) {
	return map[string]any{"smi_pct": pct, "ci95": []float64{low, high}},
		&Risk{Of: "submucosal invasion", Pct: pct, CILow: low, CIHigh: high, Setting: "meta-analysis of 48 studies; all subtypes 8.5% (6.5-10.5)"}
}

func smiOf(class report.LST, words string, pct, low, high float64) entry[report.LST] {
	e := entry[report.LST]{class: class, then: plain(pct) + "%", reason: "Laterally spreading tumour, " + words + ": submucosal invasion in " + plain(pct) + "% (95% CI " + plain(low) + "-" + plain(high) + ")"}
	e.values, e.risk = smi(pct, low, high)
	return e
}

// Bogie, Endoscopy 2018, by subtype.
var ruleLST = lookedUp(rule{
	id: "R8.colorectal.lst_smi", title: "Submucosal invasion by subtype of spreading tumour", from: bogie, confirmed: Primary, scope: ScopeLesion, applies: inColorectum,
	cautions: []string{"For laterally spreading tumours of 10 mm or more."},
}, "risk", "/examination/lst", "subtype of laterally spreading tumour", func(k *look) report.LST { return k.examination().LST }, []entry[report.LST]{
	smiOf(report.LSTGranularHomogeneous, "granular homogeneous", 0.5, 0.1, 1.0),
	smiOf(report.LSTFlatElevated, "non-granular flat elevated", 4.9, 2.1, 7.8),
	smiOf(report.LSTGranularMixed, "granular nodular mixed", 10.5, 5.9, 15.1),
	smiOf(report.LSTPseudodepressed, "non-granular pseudodepressed", 31.6, 19.8, 43.4),
})

func smiFrom(pct float64) *Risk {
	return &Risk{Of: "submucosal invasion", Pct: pct, Setting: "meta-analysis of 48 studies, by size; no interval per step was seen"}
}

// Bogie, Endoscopy 2018, by size.
var ruleLSTSize = listed(rule{
	id: "R8.colorectal.lst_smi_size", title: "Submucosal invasion by size of spreading tumour", from: bogie, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool { return inColorectum(k) && report.Known(k.examination().LST) },
}, "step", (*look).clinicalSize, []row[*finding]{
	{when: "below 10 mm", then: "not-a-spreading-tumour", is: func(f *finding) fact { return f.below(10) },
		reason: "Laterally spreading tumours begin at 10 mm"},
	{when: "10 to 19 mm", then: "4.6%", values: map[string]any{"smi_pct": 4.6}, risk: smiFrom(4.6), is: func(f *finding) fact { return f.below(20) },
		reason: "From 10 to 19 mm: submucosal invasion in 4.6%"},
	{when: "20 to 29 mm", then: "9.2%", values: map[string]any{"smi_pct": 9.2}, risk: smiFrom(9.2), is: func(f *finding) fact { return f.below(30) },
		reason: "From 20 to 29 mm: submucosal invasion in 9.2%"},
	{when: "30 mm or more", then: "16.5%", values: map[string]any{"smi_pct": 16.5}, risk: smiFrom(16.5), is: func(*finding) fact { return always() },
		reason: "30 mm or more: submucosal invasion in 16.5%"},
})
