package assess

import (
	"math"
	"slices"

	"enbloc/mapping/report"
)

// polyps is what the resected colorectal lesions of a session add up to.
type polyps struct {
	adenomas, largest            *finding
	advanced, villous            *finding
	serrated, serratedLarge, cut *finding
}

var (
	adenomaTypes  = []report.HistologyType{report.TypeAdenoma, report.TypeTubularAdenoma, report.TypeTubulovillous, report.TypeVillousAdenoma}
	villousTypes  = []report.HistologyType{report.TypeTubulovillous, report.TypeVillousAdenoma}
	serratedTypes = []report.HistologyType{report.TypeSSL, report.TypeSSLDysplasia, report.TypeTSA}
)

// gatherPolyps adds the lesions up. One whose histology, size, dysplasia or
// number of pieces is missing leaves open what it could add.
func gatherPolyps(k *look) polyps {
	p := polyps{
		adenomas: k.session("/lesions", "number of adenomas", "", report.Int(0)), largest: k.session("/lesions", "largest adenoma", "mm", report.Int(0)),
		advanced: k.lesions("high-grade dysplasia"), villous: k.lesions("villous part"), serrated: k.lesions("serrated lesion with dysplasia"),
		serratedLarge: k.lesions("serrated lesion of 10 mm or more"), cut: k.lesions("piecemeal resection of 20 mm or more"),
	}
	for i := range k.rep.Lesions {
		if l := &k.rep.Lesions[i]; l.Examination.Organ.Colorectal() && (l.Resection != nil || l.Histology != nil) {
			p.count(l, lesionBase(i))
		}
	}
	return p
}

// lesions adds a sign that no lesion shows until one does.
func (k *look) lesions(name string) *finding {
	return k.add(finding{path: "/lesions", name: name, isSign: true, sign: no, ifYes: "present", ifNo: "none"})
}

// found settles a sign; doubt opens one that is not settled.
func (f *finding) found(path string) { f.path, f.lack, f.sign = path, "", yes }

func (f *finding) doubt(path string) {
	if f.sign != yes {
		f.sign, f.lack, f.why = unknown, path, "not reported for every lesion"
	}
}

func (p polyps) count(l *report.Lesion, base string) {
	size, known := l.Examination.SizeLongMm.Value()
	sizeAt := base + "/examination/size_long_mm"
	if !known {
		size = math.Inf(1)
	}
	p.countPieces(l, base, size, known)
	h := l.Histology
	switch {
	case h == nil || len(h.Types) == 0:
		p.unread(base+"/histology", size)
	case slices.Contains(adenomaTypes, h.Types[0]):
		p.adenoma(h, base, size, known)
	case slices.Contains(serratedTypes, h.Types[0]):
		p.serratedLesion(h, base)
		switch {
		case !known:
			p.serratedLarge.doubt(sizeAt)
		case size >= 10:
			p.serratedLarge.found(sizeAt)
		}
	}
}

// countPieces looks for a large lesion that came out in pieces.
func (p polyps) countPieces(l *report.Lesion, base string, size float64, sized bool) {
	if l.Resection == nil || size < 20 {
		return
	}
	pieces, counted := l.Resection.Pieces.Value()
	switch {
	case !counted:
		p.cut.doubt(base + "/resection/pieces")
	case pieces <= 1:
	case !sized:
		p.cut.doubt(base + "/examination/size_long_mm")
	default:
		p.cut.found(base + "/resection/pieces")
	}
}

// unread lets a lesion without histology be anything.
func (p polyps) unread(at string, size float64) {
	for _, f := range []*finding{p.advanced, p.villous, p.serrated} {
		f.doubt(at)
	}
	if size >= 10 {
		p.serratedLarge.doubt(at)
	}
	p.adenomas.widen(p.adenomas.lo, p.adenomas.hi+1, at)
	p.largest.widen(p.largest.lo, size, at)
}

// widen lets a figure lie between two bounds.
func (f *finding) widen(lo, hi float64, lack string) {
	f.lo, f.hi, f.lack, f.why = lo, math.Max(f.hi, hi), lack, "not reported for every lesion"
}

func (p polyps) adenoma(h *report.Histology, base string, size float64, sized bool) {
	sizeAt := base + "/examination/size_long_mm"
	p.adenomas.lo, p.adenomas.hi = p.adenomas.lo+1, p.adenomas.hi+1
	if sized {
		if size > p.largest.lo {
			p.largest.lo, p.largest.path = size, sizeAt
		}
		p.largest.hi = math.Max(p.largest.hi, size)
	} else {
		p.largest.widen(p.largest.lo, size, sizeAt)
	}
	switch {
	case h.Dysplasia == report.DysplasiaHigh:
		p.advanced.found(base + "/histology/dysplasia")
	case !report.Known(h.Dysplasia):
		p.advanced.doubt(base + "/histology/dysplasia")
	}
	switch {
	case slices.Contains(villousTypes, h.Types[0]):
		p.villous.found(base + "/histology/types/0")
	case h.Types[0] == report.TypeAdenoma:
		p.villous.doubt(base + "/histology/types/0")
	}
}

// serratedLesion looks for dysplasia, which the name of a sessile serrated
// lesion states and that of a traditional serrated adenoma does not.
func (p polyps) serratedLesion(h *report.Histology, base string) {
	switch {
	case h.Types[0] == report.TypeSSLDysplasia:
		p.serrated.found(base + "/histology/types/0")
	case oneOf(h.Dysplasia, report.DysplasiaLow, report.DysplasiaHigh):
		p.serrated.found(base + "/histology/dysplasia")
	case h.Types[0] == report.TypeTSA && !report.Known(h.Dysplasia):
		p.serrated.doubt(base + "/histology/dysplasia")
	}
}
