package assess

import (
	"slices"

	"enbloc/mapping/report"
)

// This file reads the lesion as the endoscopist saw it.

func (k *look) examination() *report.Examination { return &k.lesion.Examination }

// clinicalSize is the endoscopist's estimate of the long diameter, which drives
// indications.
func (k *look) clinicalSize() *finding {
	return k.number("/examination/size_long_mm", "endoscopic size", "mm", k.examination().SizeLongMm)
}

// size is the size for scores that do not say whose: the pathologist's where
// there is one, else the endoscopist's.
func (k *look) size() *finding {
	if k.histology().TumourLongMm.Known() {
		return k.tumourSize()
	}
	return k.clinicalSize()
}

// lowerThird is whether the lesion lies in the lower third of the stomach: as
// reported, else by a site that lies in one third only (antrum, prepylorus and
// pylorus; cardia and fundus).
func (k *look) lowerThird() *finding {
	e := k.examination()
	f := k.sign("/examination/third", "third of the stomach", unknown, why(report.AbsenceOf(e.Third)), "lower third", "upper or middle third")
	switch e.Third {
	case report.LowerThird:
		f.sign = yes
	case report.UpperThird, report.MiddleThird:
		f.sign = no
	default:
		f.fromSite(e.Site)
	}
	return f
}

func (f *finding) fromSite(s report.Site) {
	switch s {
	case report.SiteAntrum, report.SitePrepylorus, report.SitePylorus:
		f.path, f.sign = "/examination/site", yes
	case report.SiteCardia, report.SiteFundus, report.SiteJunction:
		f.path, f.sign = "/examination/site", no
	}
}

// multiple is whether there are more tumours than this one in the organ: as
// reported, or because another lesion of the organ was resected in the session.
func (k *look) multiple() *finding {
	f := k.answer("/examination/multiple_tumours", "multiple tumours", k.examination().Multiple)
	if f.known() {
		return f
	}
	for i := range k.rep.Lesions {
		other := &k.rep.Lesions[i]
		if other.Number != k.lesion.Number && other.Examination.Organ == k.lesion.Examination.Organ && other.Resection != nil {
			f.base, f.path, f.sign = "", lesionBase(i)+"/resection", yes
		}
	}
	return f
}

// clinicallyDifferentiated is the histology group before the resection: by
// biopsy, else as the endoscopist expects.
func (k *look) clinicallyDifferentiated() *finding {
	e := k.examination()
	f := k.sign("/examination/biopsy_types", "histology before the resection", unknown, "not reported", "differentiated", "undifferentiated")
	switch {
	case len(e.BiopsyTypes) > 0:
		f.path, f.sign = "/examination/biopsy_types/0", grouped(e.BiopsyTypes[0])
	case report.Known(e.PredictedHistology):
		f.path, f.sign = "/examination/predicted_histology", grouped(e.PredictedHistology)
	}
	if !f.known() && f.path != "/examination/biopsy_types" {
		f.why = "does not tell the group"
	}
	return f
}

// clinicallyUlcerated is an ulcer or scar as seen.
func (k *look) clinicallyUlcerated() *finding {
	u := k.examination().Ulcer
	return k.sign("/examination/ulceration", "ulceration", truthOfUlcer(u), why(report.AbsenceOf(u)), "UL1", "UL0")
}

// clinicalT1a is whether the lesion is expected to stay within the mucosa.
func (k *look) clinicalT1a() *finding {
	d := k.examination().PredictedDepth
	f := k.sign("/examination/predicted_depth", "expected depth", unknown, why(report.AbsenceOf(d)), "cT1a", "cT1b or deeper")
	switch d {
	case report.PredictT1a, report.PredictT1aEPLPM:
		f.sign = yes
	case report.PredictT1b, report.PredictT1bSM1, report.PredictT1bSM2, report.PredictT2:
		f.sign = no
	}
	return f
}

// oneOf reports whether v is one of the values.
func oneOf[T comparable](v T, values ...T) bool { return slices.Contains(values, v) }
