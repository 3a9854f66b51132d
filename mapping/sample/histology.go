package sample

import (
	"math"
	"time"

	"enbloc/mapping/report"
)

// addHistologyPart writes what the laboratory finds. Mostly it comes as a
// part; now and then it stands in the report already, or has not come yet.
func (s *session) addHistologyPart() {
	var results []report.LesionHistology
	for i := range s.rep.Lesions {
		lesion, c := &s.rep.Lesions[i], s.courses[i]
		if !c.examined {
			continue
		}
		h := s.histologyOf(c, *lesion)
		if s.histologyBy == "report" {
			lesion.Histology = &h
			s.signLater(h.IssuedAt)
			continue
		}
		results = append(results, s.result(c, h))
	}
	if len(results) > 0 {
		s.histology = append(s.histology, s.histologyPart(results))
	}
}

// signLater moves writing and signing behind histology that the report holds.
func (s *session) signLater(issued report.Time) {
	if s.rep.WrittenAt.At().After(issued.At()) {
		return
	}
	s.rep.WrittenAt = stamp(issued.At().Add(time.Hour))
	s.rep.SignedAt = stamp(issued.At().Add(2 * time.Hour))
}

// result names the lesion by number, by accession, or not at all when it is
// the only one that was resected.
func (s *session) result(c course, h report.Histology) report.LesionHistology {
	out := report.LesionHistology{Histology: h}
	ways := []string{"number", "both"}
	if h.Accession != nil && s.knows(*h.Accession) {
		ways = append(ways, "accession")
	}
	if s.resections() == 1 {
		ways = append(ways, "only one")
	}
	way := pick(s.dice, "result by/"+string(rune('0'+len(ways))), ways)
	if way == "number" || way == "both" {
		out.Lesion = c.number
	}
	if way == "accession" || way == "both" {
		out.Accession = h.Accession
	}
	return out
}

// knows reports whether the report names the accession.
func (s *session) knows(accession report.Identifier) bool {
	return contains(s.rep.Accessions(), accession)
}

func (s *session) resections() int {
	n := 0
	for _, c := range s.courses {
		if !c.left {
			n++
		}
	}
	return n
}

var (
	labStatuses = []report.HistologyStatus{report.HistologyFinal, report.HistologyPreliminary, report.HistologyAmended, report.HistologyCorrected}
	labShare    = []float64{0.93, 0.03, 0.03, 0.01}
)

// histologyOf writes the laboratory's finding on one lesion.
func (s *session) histologyOf(c course, lesion report.Lesion) report.Histology {
	suffix := "-POT-" + string(rune('0'+c.number))
	issued := s.end.Add(time.Duration(s.whole(3, 12)) * 24 * time.Hour)
	pathologist := s.staff("PATH", 6)
	h := report.Histology{
		LabReport: s.optionalID("lab report", "lab-report", suffix),
		Status:    pick(s.dice, "lab status", labStatuses, labShare...),
		IssuedAt:  stamp(issued),
		Types:     s.kinds(c),
		Text:      s.text("lab text", "Deeper sections were looked at."),
	}
	if s.has("pathologist") {
		h.Pathologist = &pathologist
	}
	h.Accession = s.accessionOf(lesion, suffix)
	s.depth(&h, c)
	s.grades(&h, c)
	if !s.has("types") {
		h.Types = nil
	}
	s.margins(&h, c)
	s.invasion(&h, c)
	if c.biology != absent && c.pieces == 1 {
		long := math.Round(min(c.specimenLong, c.long*(0.9+0.2*s.rng.Float64())))
		h.TumourLongMm = s.number("tumour long", long, 0)
		h.TumourShortMm = s.number("tumour short", math.Round(min(long, c.short, c.specimenSh)), 0)
	}
	return h
}

// kinds lists the type, and now and then a lesser part of another type.
func (s *session) kinds(c course) []report.HistologyType {
	if others := without(c.typesOf(), c.kind); len(others) > 0 && s.rare("second type", 0.15) {
		return []report.HistologyType{c.kind, others[s.rng.IntN(len(others))]}
	}
	return []report.HistologyType{c.kind}
}

// accessionOf is the number that the report knows already, or a new one.
func (s *session) accessionOf(lesion report.Lesion, suffix string) *report.Identifier {
	for _, pot := range lesion.Specimen.Containers {
		if pot.Accession != nil {
			return pot.Accession
		}
	}
	return s.optionalID("lab accession", "lab-accession", suffix)
}

// depth writes the category and, for invasion of the submucosa, the measure.
func (s *session) depth(h *report.Histology, c course) {
	categories := c.categories()
	h.PT = said(s.dice, "pt", pick(s.dice, "pt/"+c.typeQuestion(), categories))
	if !h.PT.Submucosal() || h.PT == "" {
		return
	}
	um := s.whole(20, c.favourable())
	if c.biology == deep {
		um = c.favourable() + s.whole(20, 1500)
	}
	h.DepthUm = s.number("depth", float64(um/10*10), 0)
	from := []report.DepthFrom{report.FromMuscularisMucosae, report.FromSurface}
	if c.stalked {
		from = []report.DepthFrom{report.FromStalkBoundary}
	}
	h.DepthFrom = one(s.dice, "depth from/"+string(from[0]), from, 0.9, 0.1)
}

var gradeOfType = map[report.HistologyType]report.Grade{
	report.TypeTub1: report.GradeWell, report.TypePap: report.GradeWell, report.TypeTub2: report.GradeModerate,
	report.TypePor1: report.GradePoor, report.TypePor2: report.GradePoor, report.TypeSig: report.GradePoor, report.TypeMuc: report.GradePoor,
	report.TypeUndifferentiated: report.GradeUndifferentiated, report.TypeNEC: report.GradePoor,
}

// grades writes grade, dysplasia and the undifferentiated part.
func (s *session) grades(h *report.Histology, c course) {
	if c.biology == absent {
		return
	}
	if c.biology == benign {
		s.dysplasia(h)
		return
	}
	grade, fixed := gradeOfType[h.Types[0]]
	if !fixed {
		grade = pick(s.dice, "grade", []report.Grade{report.GradeWell, report.GradeModerate, report.GradePoor, report.GradeCannot}, 0.6, 0.33, 0.05, 0.02)
	}
	h.Grade = said(s.dice, "grade/said", grade)
	worst := s.worst(grade, h.Types)
	h.WorstGrade = said(s.dice, "worst grade", worst)
	if c.organ == report.Stomach {
		if s.bags != nil || s.has("undifferentiated") {
			s.undifferentiated(h, c)
		}
		h.Ulcer = s.ulcerUnderMicroscope(s.rep.Lesions[c.number-1].Examination.Ulcer)
	}
}

// ulcerUnderMicroscope mostly agrees with what was seen.
func (s *session) ulcerUnderMicroscope(seen report.Ulceration) report.Ulceration {
	found := pick(s.dice, "lab ulcer", ulcers, ulcerShare...)
	if report.Known(seen) && !s.rare("ulcer differs", 0.05) {
		found = seen
	}
	return said(s.dice, "lab ulcer/said", found)
}

// worst is the grade of the least differentiated part.
func (s *session) worst(grade report.Grade, types []report.HistologyType) report.Grade {
	if second := gradeOfType[types[len(types)-1]]; second == report.GradePoor && grade != report.GradeUndifferentiated {
		return second
	}
	if grade == report.GradeWell && s.rare("worse part", 0.2) {
		return report.GradeModerate
	}
	return grade
}

func (s *session) dysplasia(h *report.Histology) {
	switch h.Types[0] {
	case report.TypeSSL, report.TypeHyperplastic:
		h.Dysplasia = said(s.dice, "dysplasia none", report.DysplasiaNone)
	default:
		h.Dysplasia = one(s.dice, "dysplasia", []report.Dysplasia{report.DysplasiaLow, report.DysplasiaHigh}, 0.7, 0.3)
	}
}

// givenAnswers are those to a question that must be answered somehow.
var givenAnswers = []report.Answer{
	report.No, report.Yes, report.Answer(report.Unknown), report.Answer(report.NotAssessed), report.Answer(report.NotApplicable),
}

// undeniedAnswers are those to a question to which the answer is not yes.
var undeniedAnswers = without(givenAnswers, report.Yes)

// undifferentiatedType reports whether an undifferentiated type is listed.
func undifferentiatedType(types []report.HistologyType) bool {
	for _, t := range []report.HistologyType{report.TypePor1, report.TypePor2, report.TypeSig, report.TypeMuc} {
		if contains(types, t) {
			return true
		}
	}
	return false
}

// undifferentiated writes whether a gastric cancer has an undifferentiated
// part and how large it is.
func (s *session) undifferentiated(h *report.Histology, c course) {
	u := &report.Undifferentiated{Present: report.Yes}
	if !undifferentiatedType(h.Types) {
		u.Present = pick(s.dice, "undifferentiated/present", undeniedAnswers, 0.98, 0.02)
	}
	if u.Present == report.Yes {
		u.SizeMm = s.number("undifferentiated size", float64(s.whole(1, max(1, int(c.short)/2))), 0)
		deepPart := report.No
		if h.PT.Submucosal() {
			deepPart = pick(s.dice, "undifferentiated deep", []report.Answer{report.No, report.Yes}, 0.7, 0.3)
		}
		u.InSubmucosa = said(s.dice, "undifferentiated deep", deepPart)
	}
	h.Undifferentiated = u
}

func (s *session) margins(h *report.Histology, c course) {
	if c.biology == absent {
		return
	}
	h.HorizontalMargin = said(s.dice, "horizontal", c.horizontal)
	h.VerticalMargin = said(s.dice, "vertical", c.vertical)
	if h.HorizontalMargin == report.Negative {
		h.HorizontalDistanceMm = s.number("horizontal distance", float64(s.whole(5, 80))/10, 1)
	}
	if h.VerticalMargin == report.Negative {
		h.VerticalDistanceUm = s.number("vertical distance", float64(s.whole(5, 130)*10), 0)
	}
}

// invasion writes vessels and, in the colorectum, budding. A few laboratories
// do not tell lymphatic from venous invasion.
func (s *session) invasion(h *report.Histology, c course) {
	if c.biology == benign || c.biology == absent {
		return
	}
	share := map[biology]float64{intramucosal: 0.005, shallow: 0.08, deep: 0.25, beyond: 0.5, unclear: 0.1}[c.biology]
	if s.rare("undivided vessels", 0.03) {
		h.Lymphovascular = s.sign("lymphovascular", share)
	} else {
		h.LymphaticInvasion = s.sign("lymphatic", share)
		h.VenousInvasion = s.sign("venous", share/2)
	}
	if c.organ.Colorectal() && h.PT == report.PT1 {
		s.budding(h)
	}
}

// budding counts in 0.785 mm²: BD1 0 to 4, BD2 5 to 9, BD3 10 and more (Lugli,
// Mod Pathol 2017;30:1299).
func (s *session) budding(h *report.Histology) {
	h.Budding = one(s.dice, "budding", []report.Budding{report.BD1, report.BD2, report.BD3, report.BuddingNoFit}, 0.75, 0.15, 0.08, 0.02)
	bounds, counted := map[report.Budding][2]int{report.BD1: {0, 4}, report.BD2: {5, 9}, report.BD3: {10, 24}}[h.Budding]
	if !counted {
		return
	}
	h.BuddingCount = s.number("bud count", float64(s.whole(bounds[0], bounds[1])), 0)
	h.BuddingFieldMm2 = s.number("bud field", 0.785, 3)
}
