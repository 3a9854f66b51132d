package assess

import (
	"math"
	"slices"

	"enbloc/mapping/report"
)

// This file reads what the pathologist found: the inputs of every rule on
// curability. Sizes are those of the reconstruction map; the endoscopist's
// estimate never stands in for them.

// histology is the lesion's histology; an empty one when none has come.
func (k *look) histology() *report.Histology {
	if k.lesion.Histology == nil {
		return &report.Histology{}
	}
	return k.lesion.Histology
}

// tumourSize is the long diameter on the map, in mm.
func (k *look) tumourSize() *finding {
	return k.number("/histology/tumour_long_mm", "size on the map", "mm", k.histology().TumourLongMm)
}

func (k *look) horizontalMargin() *finding {
	return k.looked("/histology/horizontal_margin", "horizontal margin", k.histology().HorizontalMargin)
}

func (k *look) verticalMargin() *finding {
	return k.looked("/histology/vertical_margin", "vertical margin", k.histology().VerticalMargin)
}

// invasion is what is known of lymphatic and venous invasion.
type invasion struct{ ly, v, either *finding }

// invasion reads lymphatic and venous invasion, which a laboratory may give
// apart or as one. A common negative makes both negative; a common positive
// does not say which of the two it is.
func (k *look) invasion() invasion {
	h := k.histology()
	in := invasion{
		ly: k.vessel("/histology/lymphatic_invasion", "lymphatic invasion", h.LymphaticInvasion, h.VenousInvasion),
		v:  k.vessel("/histology/venous_invasion", "venous invasion", h.VenousInvasion, h.LymphaticInvasion),
	}
	if h.Lymphovascular == report.Positive {
		in.either = k.looked("/histology/lymphovascular_invasion", "lymphovascular invasion", h.Lymphovascular)
	}
	return in
}

func (k *look) vessel(path, name string, own, other report.Sign) *finding {
	const together = "/histology/lymphovascular_invasion"
	f := k.looked(path, name, own)
	if f.known() {
		return f
	}
	switch k.histology().Lymphovascular {
	case "":
		if k.nature() == premalignant { // no cancer: nothing to invade a vessel
			f.path, f.sign = "/histology/types/0", no
		}
	case report.Negative:
		f.path, f.sign = together, no
	case report.Positive:
		f.why = "not told apart from the other kind of vessel invasion"
		if other == report.Negative {
			f.path, f.sign = together, yes
		}
	}
	return f
}

// present is the fact that vessels are invaded, whichever they are.
func (in invasion) present() fact {
	if in.either != nil {
		return in.either.yes()
	}
	return anyOf(in.ly.yes(), in.v.yes())
}

// almostNothing is the least depth of a cancer that has entered the submucosa.
const almostNothing = 1e-6

// depth is the depth of submucosal invasion in µm: 0 within the mucosa, +Inf
// beyond the submucosa, and a stretch where the report gives a step only. Sm1
// is the greatest depth that the step SM1 stands for in the organ.
func (k *look) depth(sm1 float64) *finding {
	h := k.histology()
	f := k.number("/histology/depth_um", "submucosal depth", "µm", h.DepthUm)
	um, measured := h.DepthUm.Value()
	switch {
	case h.PT == report.PT2 || h.PT == report.PTDeeper:
		f.path, f.lo, f.hi = "/histology/pt", math.Inf(1), math.Inf(1)
	case measured && um > 0: // a measured depth outranks the step
	case h.PT.Intramucosal():
		f.path, f.lo, f.hi = "/histology/pt", 0, 0
	case h.PT == report.PT1bSM1:
		f.path, f.lack, f.lo, f.hi = "/histology/pt", "/histology/depth_um", almostNothing, sm1
	case h.PT == report.PT1bSM2 || h.PT == report.PT1bSM3:
		f.path, f.lack, f.lo, f.hi = "/histology/pt", "/histology/depth_um", math.Nextafter(sm1, math.Inf(1)), math.Inf(1)
	case h.PT.Submucosal():
		f.path, f.lack = "/histology/pt", "/histology/depth_um"
		f.lo, f.hi = almostNothing, math.Inf(1)
	case k.nature() == premalignant: // no cancer: nothing has invaded
		f.path, f.lo, f.hi = "/histology/types/0", 0, 0
	default:
		f.lo, f.hi = 0, math.Inf(1)
		f.path, f.name, f.why = "/histology/pt", "depth of invasion", why(report.AbsenceOf(h.PT))
	}
	return f
}

// notes on how the depth was measured.
func (k *look) depthNote() string {
	switch k.histology().DepthFrom {
	case report.FromSurface, report.FromStalkBoundary:
		return "The depth was not measured from the muscularis mucosae, which the limits presuppose outside the colorectum."
	}
	return ""
}

// differentiated is the group of the dominant type (JGCA classification, 6th
// edition): pap, tub1 and tub2 against por1, por2, sig and muc. An
// adenocarcinoma without subtype is grouped by its grade.
func (k *look) differentiated() *finding {
	h := k.histology()
	f := k.sign("/histology/types", "histological type", unknown, "not reported", "differentiated", "undifferentiated")
	if len(h.Types) == 0 {
		return f
	}
	f.path = "/histology/types/0"
	f.sign = grouped(h.Types[0])
	if f.sign == unknown && h.Types[0] == report.TypeAdenocarcinoma {
		f.path, f.name, f.why = "/histology/grade", "grade of differentiation", why(report.AbsenceOf(h.Grade))
		f.sign = gradedWell(h.Grade)
	}
	return f
}

func grouped(t report.HistologyType) truth {
	switch t {
	case report.TypePap, report.TypeTub1, report.TypeTub2:
		return yes
	case report.TypePor1, report.TypePor2, report.TypeSig, report.TypeMuc, report.TypeUndifferentiated:
		return no
	}
	return unknown
}

func gradedWell(g report.Grade) truth {
	switch g {
	case report.GradeWell, report.GradeModerate:
		return yes
	case report.GradePoor, report.GradeUndifferentiated:
		return no
	}
	return unknown
}

// wellOrModerate is the grade of the dominant part in European wording.
func (k *look) wellOrModerate() *finding {
	h := k.histology()
	f := k.sign("/histology/grade", "grade of differentiation", gradedWell(h.Grade), why(report.AbsenceOf(h.Grade)),
		"well or moderately differentiated", "poorly or undifferentiated")
	switch {
	case f.known():
	case k.nature() == premalignant:
		f.path, f.sign = "/histology/types/0", yes // neoplasia that is no cancer has no undifferentiated grade
	case len(h.Types) > 0 && grouped(h.Types[0]) != unknown:
		f.path, f.sign = "/histology/types/0", grouped(h.Types[0])
	}
	return f
}

// ulcerated is ulceration under the microscope. A biopsy scar is none; a scar
// that may be either counts as an ulcer scar (JGCA classification, 6th ed.).
func (k *look) ulcerated() *finding {
	u := k.histology().Ulcer
	return k.sign("/histology/ulceration", "ulceration", truthOfUlcer(u), why(report.AbsenceOf(u)), "UL1", "UL0")
}

func truthOfUlcer(u report.Ulceration) truth {
	switch u {
	case report.UlcerAbsent, report.UlcerBiopsyScar:
		return no
	case report.UlcerActive, report.UlcerScar, report.UlcerEither:
		return yes
	}
	return unknown
}

// nature is what kind of lesion the histology speaks of.
type nature uint8

const (
	natureUnknown nature = iota
	cancer
	premalignant // adenoma, dysplasia, serrated lesion, squamous neoplasia
	neuroendocrine
	noNeoplasia
)

var carcinomas = []report.HistologyType{
	report.TypePap, report.TypeTub1, report.TypeTub2, report.TypePor1, report.TypePor2, report.TypeSig,
	report.TypeMuc, report.TypeAdenocarcinoma, report.TypeSCC, report.TypeUndifferentiated, report.TypeMedullary,
}

// nature reads the histological types; a pT of 1 or more makes it a cancer
// whatever else is named.
func (k *look) nature() nature {
	h := k.histology()
	if len(h.Types) > 0 {
		switch h.Types[0] {
		case report.TypeNET, report.TypeNEC:
			return neuroendocrine
		}
	}
	invasive := h.PT.Submucosal() || h.PT == report.PT2 || h.PT == report.PTDeeper ||
		h.PT.Intramucosal() && h.PT != report.PT0 && h.PT != report.PTis
	switch {
	case invasive || slices.ContainsFunc(h.Types, isCarcinoma):
		return cancer
	case h.PT == report.PT0:
		return noNeoplasia
	case len(h.Types) == 0:
		return natureUnknown
	case h.Types[0] == report.TypeNoNeoplasia || h.Types[0] == report.TypeHyperplastic:
		return noNeoplasia
	}
	return premalignant
}

func isCarcinoma(t report.HistologyType) bool { return slices.Contains(carcinomas, t) }

// part is the undifferentiated part of a cancer that is not undifferentiated
// for the greater part: its long diameter on the map and whether it lies in
// the submucosal invasion. A list of types that names none is taken to be the
// whole list.
func (k *look) part() (size, inSubmucosa *finding) {
	u := k.histology().Undifferentiated
	absent, at := false, "/histology/undifferentiated_component/present"
	switch {
	case u == nil:
		u = &report.Undifferentiated{}
		absent, at = k.onlyDifferentiated(), "/histology/types"
	case u.Present == report.No:
		absent = true
	}
	size = k.number("/histology/undifferentiated_component/size_mm", "undifferentiated part", "mm", u.SizeMm)
	inSubmucosa = k.answer("/histology/undifferentiated_component/in_submucosa", "undifferentiated part in the submucosa", u.InSubmucosa)
	if absent {
		size.path, size.lo, size.hi = at, 0, 0
		inSubmucosa.path, inSubmucosa.sign = at, no
	}
	return size, inSubmucosa
}

func (k *look) onlyDifferentiated() bool {
	types := k.histology().Types
	return len(types) > 0 && !slices.ContainsFunc(types, func(t report.HistologyType) bool { return grouped(t) != yes })
}
