package sample

import "enbloc/mapping/report"

// addLesion decides on a lesion and writes what the endoscopist sees and does.
func (s *session) addLesion(number int) {
	c := s.newCourse(number)
	lesion := report.Lesion{Number: number, Examination: s.examine(c)}
	if c.left {
		lesion.Comment = s.text("lesion/comment", "Seen and left for another session.")
	} else {
		lesion.Resection = s.resect(c)
		lesion.Comment = s.comment(lesion.Examination)
		if c.retrieved || s.has("specimen") {
			lesion.Specimen = s.specimen(c)
		}
	}
	s.courses = append(s.courses, c)
	s.rep.Lesions = append(s.rep.Lesions, lesion)
}

// countTumours says yes to more tumours wherever another lesion of the report
// lies in the same organ.
func (s *session) countTumours() {
	perOrgan := map[report.Organ]int{}
	for _, c := range s.courses {
		perOrgan[c.organ]++
	}
	for i, c := range s.courses {
		if perOrgan[c.organ] > 1 {
			s.rep.Lesions[i].Examination.Multiple = said(s.dice, "multiple/several", report.Yes)
		}
	}
}

// comment explains a resection in spite of a sign of deep invasion, as a
// careful endoscopist does.
func (s *session) comment(e report.Examination) string {
	deepClass := e.NICE == "3" || e.JNET == report.JNET3 || contains(e.Kudo, report.KudoVN)
	if e.NonExtension == report.Positive || deepClass {
		return "Sign of deep invasion seen; resected as a diagnostic excision after discussion."
	}
	return s.text("lesion/comment", "Position changed once for a better view.")
}

// examine writes the examination of a lesion.
func (s *session) examine(c course) report.Examination {
	at := s.place(c)
	e := report.Examination{
		Organ: c.organ, Wall: s.wall(c), Mucosa: s.mucosa(c),
		SizeLongMm:  s.number("size long", c.long, 0),
		SizeShortMm: s.number("size short", c.short, 0),
		Ulcer:       s.ulcer(c),
		Access:      one(s.dice, "access", []report.Access{report.AccessEasy, report.AccessDifficult}, 0.75, 0.25),
		Multiple:    s.answer("multiple", 0.12),
		NonLifting:  s.sign("non-lifting", 0.08),
		EUSDepth:    one(s.dice, "eus", []report.Layer{report.LayerMucosa, report.LayerSubmucosa, report.LayerMuscularis}, 0.7, 0.28, 0.02),
	}
	if s.has("site") {
		e.Site = at.site
	}
	if at.third != "" {
		e.Third = said(s.dice, "third", at.third)
	}
	s.classify(&e, c)
	s.measure(&e, c)
	s.predict(&e, c)
	s.positions(&e)
	return e
}

func (s *session) mucosa(c course) report.Mucosa {
	switch c.organ {
	case report.Oesophagus:
		return said(s.dice, "mucosa/said", c.mucosa)
	case report.Stomach:
		if s.rare("columnar", 0.02) {
			return report.Columnar
		}
	}
	return ""
}

func (s *session) ulcer(c course) report.Ulceration {
	if c.organ != report.Stomach {
		return said(s.dice, "ulcer/tube", report.UlcerAbsent)
	}
	return one(s.dice, "ulcer", ulcers, ulcerShare...)
}

var (
	ulcers     = []report.Ulceration{report.UlcerAbsent, report.UlcerScar, report.UlcerBiopsyScar, report.UlcerActive, report.UlcerEither}
	ulcerShare = []float64{0.80, 0.10, 0.06, 0.02, 0.02}
)

// measure writes extent and distances where the organ has them.
func (s *session) measure(e *report.Examination, c course) {
	e.HeightMm = s.number("height", s.height(e, c), 1)
	switch c.organ {
	case report.Oesophagus:
		incisors := map[report.Third][2]int{report.UpperThird: {19, 24}, report.MiddleThird: {25, 31}, report.LowerThird: {32, 40}}
		bounds, ok := incisors[e.Third]
		if !ok {
			bounds = [2]int{28, 34}
		}
		e.DistanceIncisorsCm = s.number("incisors", float64(s.whole(bounds[0], bounds[1])), 1)
		s.measureRound(e, c)
		if c.mucosa == report.Barrett {
			circumferential := s.whole(0, 6)
			e.PragueCCm = s.number("prague c", float64(circumferential), 0)
			e.PragueMCm = s.number("prague m", float64(circumferential+s.whole(1, 4)), 0)
		}
	case report.Stomach:
		if s.rare("incisors", 0.1) {
			e.DistanceIncisorsCm = figure(float64(s.whole(40, 58)), 0)
		}
	case report.Colon:
		if s.rare("anal verge colon", 0.2) {
			e.DistanceAnalVergeCm = s.number("verge", float64(s.whole(18, 95)), 0)
		}
	case report.Rectum:
		e.DistanceAnalVergeCm = s.number("verge", float64(s.whole(2, 14)), 0)
		e.CircumferencePct = s.number("circumference", c.roundShare(), 0)
	}
	if c.organ == report.Duodenum {
		e.Papilla = said(s.dice, "papilla", yesIf(e.Site == report.SiteMajorPapilla))
	}
}

// measureRound writes how far round the oesophagus the lesion goes.
func (s *session) measureRound(e *report.Examination, c course) {
	e.AxialLengthMm = s.number("axial", c.long, 0)
	if c.round {
		e.Circumferential = said(s.dice, "circumferential/said", report.Yes)
		e.CircumferencePct = s.number("circumference round", 100, 0)
		return
	}
	e.Circumferential = said(s.dice, "circumferential/said", report.No)
	e.CircumferencePct = s.number("circumference", c.roundShare(), 0)
}

// height is that of the lesion above the mucosa around it, in mm. Protruding
// types rise above 2.5 mm, or 1.2 mm in squamous mucosa (Paris workshop,
// Gastrointest Endosc 2003;58(6 Suppl):S3; Endoscopy 2005;37:570).
func (s *session) height(e *report.Examination, c course) float64 {
	limit := 2.5
	if c.mucosa == report.Squamous {
		limit = 1.2
	}
	if len(e.Paris) == 0 {
		return limit / 2
	}
	for _, protruding := range []report.ParisType{report.Paris0Is, report.Paris0Ip, report.Paris0Isp} {
		if contains(e.Paris, protruding) {
			return limit + 0.5 + 6*s.rng.Float64()
		}
	}
	if e.Paris[0] == report.Paris0IIa {
		return 0.4 + (limit-0.5)*s.rng.Float64()
	}
	return 0
}

func yesIf(b bool) report.Answer {
	if b {
		return report.Yes
	}
	return report.No
}

// predict writes what the endoscopist expects and what biopsies said.
func (s *session) predict(e *report.Examination, c course) {
	expected := c.kind
	if c.biology == absent && s.rare("biopsy took it all", 0.8) {
		expected = mucosalCancers[c.organ][0]
	}
	if s.has("biopsy types") {
		e.BiopsyTypes = []report.HistologyType{expected}
		if others := without(c.typesOf(), expected); len(others) > 0 && s.rare("second biopsy type", 0.1) {
			e.BiopsyTypes = append(e.BiopsyTypes, pick(s.dice, "second biopsy type/"+c.typeQuestion()+string(expected), others))
		}
	}
	if s.has("predicted") {
		e.PredictedHistology = expected
	}
	cancer := c.biology != benign
	e.SuspectMalignant = said(s.dice, "suspected", yesIf(cancer))
	e.ClinicalN = one(s.dice, "clinical n", []report.ClinicalN{report.ClinicalN0, report.ClinicalNPresent}, 0.99, 0.01)
	if !cancer {
		return
	}
	e.PredictedDepth = one(s.dice, "predicted depth/"+c.depthScale(), c.predictions(), guessShare[c.biology]...)
	if e.PredictedDepth == report.PredictT1bSM1 || e.PredictedDepth == report.PredictT1bSM2 {
		um := s.whole(50, 190)
		if e.PredictedDepth == report.PredictT1bSM2 {
			um = s.whole(1000, 1800)
		}
		e.PredictedSMUm = s.number("predicted um", float64(um), 0)
	}
}

// depthScale says whether the steps of the squamous oesophagus apply.
func (c course) depthScale() string {
	if c.mucosa == report.Squamous {
		return "squamous"
	}
	return "columnar"
}

// guessShare is how often mucosa, upper and deeper submucosa are guessed.
var guessShare = map[biology][]float64{
	intramucosal: {0.85, 0.12, 0.03}, absent: {0.9, 0.1}, unclear: {0.6, 0.3, 0.1},
	shallow: {0.4, 0.5, 0.1}, deep: {0.15, 0.25, 0.5, 0.1}, beyond: {0.02, 0.1, 0.5, 0.3, 0.08},
}

func (c course) predictions() []report.PredictedDepth {
	if c.mucosa == report.Squamous {
		return []report.PredictedDepth{report.PredictT1aEPLPM, report.PredictMMSM1, report.PredictT1bSM2}
	}
	return []report.PredictedDepth{report.PredictT1a, report.PredictT1bSM1, report.PredictT1bSM2, report.PredictT1b, report.PredictT2}
}

var (
	patientPositions = []report.Position{report.LeftLateral, report.Supine, report.RightLateral, report.Prone}
	pulls            = []report.Gravity{report.GravityOpens, report.GravityCloses, report.GravityNeutral}
)

func (s *session) positions(e *report.Examination) {
	e.PatientPosition = one(s.dice, "position", patientPositions, 0.8, 0.1, 0.08, 0.02)
	e.Gravity = one(s.dice, "gravity", pulls)
}
