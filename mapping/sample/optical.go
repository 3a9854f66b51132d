package sample

import "enbloc/mapping/report"

// classify writes morphology and the optical classes that belong to the organ.
func (s *session) classify(e *report.Examination, c course) {
	if s.has("paris") {
		e.Paris = s.paris(c)
	}
	if c.organ.Colorectal() {
		s.classifyColorectal(e, c)
		return
	}
	s.classifyUpper(e, c)
}

var mixed = []report.ParisType{report.Paris0IIa, report.Paris0IIb, report.Paris0IIc, report.Paris0Is, report.Paris0III}

// paris is one type, or a mixed one with the dominant part first.
func (s *session) paris(c course) []report.ParisType {
	if c.stalked {
		return []report.ParisType{pick(s.dice, "paris/stalk", []report.ParisType{report.Paris0Ip, report.Paris0Isp}, 0.7, 0.3)}
	}
	flat := pick(s.dice, "paris", mixed, 0.5, 0.12, 0.28, 0.09, 0.01)
	list := []report.ParisType{flat}
	if s.rare("paris mixed", 0.2) {
		if second := pick(s.dice, "paris second", mixed); second != flat {
			list = append(list, second)
		}
	}
	return list
}

// look is one consistent reading of a colorectal lesion.
type look struct {
	nice    report.NICE
	jnet    report.JNET
	vessel  report.JNETVessel
	surface report.JNETSurface
	kudo    []report.Kudo
}

// looks of colorectal lesions by what they are; classes as in the JNET and NICE
// tables (World J Gastroenterol 2023;29:2600, Table 1).
var looks = map[biology][]look{
	benign: {
		{"2", report.JNET2A, report.VesselRegular, report.SurfaceRegular, []report.Kudo{report.KudoIIIL, report.KudoIIIS, report.KudoIV}},
	},
	shallow: {
		{"2", report.JNET2B, report.VesselVariable, report.SurfaceIrregular, []report.Kudo{report.KudoVIMild, report.KudoVISevere}},
	},
	deep: {
		{"3", report.JNET3, report.VesselLoose, report.SurfaceAmorphous, []report.Kudo{report.KudoVN, report.KudoVISevere}},
		{"2", report.JNET2B, report.VesselVariable, report.SurfaceIrregular, []report.Kudo{report.KudoVISevere}},
	},
}

// serratedLook is that of a hyperplastic or serrated lesion.
var serratedLook = []look{
	{"1", report.JNET1, report.VesselInvisible, report.SurfaceSpots, []report.Kudo{report.KudoII, report.KudoI}},
}

var lsts = []report.LST{report.LSTGranularHomogeneous, report.LSTGranularMixed, report.LSTFlatElevated, report.LSTPseudodepressed}

func (s *session) classifyColorectal(e *report.Examination, c course) {
	e.Pedicle = said(s.dice, "pedicle", yesIf(c.stalked))
	if c.long >= 10 && !c.stalked {
		e.LST = one(s.dice, "lst", lsts, 0.3, 0.3, 0.3, 0.1)
	}
	question, list := s.looksOf(c)
	seen := pick(s.dice, question, list, 0.85, 0.15)
	e.NICE = said(s.dice, "nice", seen.nice)
	e.JNET = said(s.dice, "jnet", seen.jnet)
	e.JNETVessel = said(s.dice, "jnet vessel", seen.vessel)
	e.JNETSurface = said(s.dice, "jnet surface", seen.surface)
	if s.has("kudo") {
		e.Kudo = some(s.dice, "kudo/"+string(seen.jnet)+question, seen.kudo, 1, min(2, len(seen.kudo)))
	}
	bad := 0.03
	if c.biology == deep || c.biology == beyond {
		bad = 0.6
	}
	e.RigidArc = s.answer("rigid arc", bad)
	e.TrapezoidElevation = s.answer("trapezoid", bad)
	e.ConvergingFolds = s.answer("folds", bad)
}

// looksOf lists how a colorectal lesion may look, and names the list.
func (s *session) looksOf(c course) (string, []look) {
	switch {
	case c.kind == report.TypeSSL || c.kind == report.TypeHyperplastic:
		return "look/serrated", serratedLook
	case c.biology == benign || c.biology == absent:
		return "look/adenoma", looks[benign]
	case c.biology == deep || c.biology == beyond:
		return "look/deep", looks[deep]
	}
	return "look/shallow", looks[shallow]
}

var patterns = []report.Pattern{report.PatternIrregular, report.PatternRegular, report.PatternAbsent}

func (s *session) classifyUpper(e *report.Examination, c course) {
	irregular, regular := 0.85, 0.05
	if c.biology == benign {
		irregular, regular = 0.1, 0.85
	}
	e.MicroVessel = one(s.dice, "microvessel", patterns, irregular, regular, 0.1)
	e.MicroSurf = one(s.dice, "microsurface", patterns, irregular, regular, 0.1)
	e.Demarcation = s.answer("demarcation", 0.9)
	if c.organ != report.Stomach {
		return
	}
	e.WhiteOpaque = s.answer("white opaque", 0.2)
	// Sensitivity 92%, specificity 97.7% for 500 µm and more (Nagahama,
	// Gastric Cancer 2017;20:304).
	positive := 0.023
	if c.biology == deep || c.biology == beyond {
		positive = 0.92
	}
	e.NonExtension = s.sign("non-extension", positive)
	e.FullInsufflation = s.answer("insufflation", 0.97)
	e.ConvergingFolds = s.answer("folds", 0.06)
	e.MuscleRidge = s.answer("ridge", 0.03)
}
