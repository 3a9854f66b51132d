package sample

import (
	"math"

	"enbloc/mapping/report"
)

// course is what truly happens to one lesion. It is decided first; report,
// histology and events then tell of it.
type course struct {
	number    int
	organ     report.Organ
	mucosa    report.Mucosa // of the oesophagus
	biology   biology
	kind      report.HistologyType // what the laboratory will call it
	long      float64              // mm, as seen
	short     float64
	stalked   bool // on a stalk, in the colorectum
	round     bool // all the way round, in the oesophagus
	left      bool // seen and left
	technique report.Technique
	ended     report.Completion
	pieces    int
	retrieved bool
	examined  bool // by the laboratory, as far as the case knows
	// What the laboratory finds at the edges; cannot-be-assessed after
	// piecemeal resection.
	horizontal, vertical     report.Sign
	specimenLong, specimenSh float64
	resectionMin             float64 // incision to end of dissection, minutes
	perforated, bleedsLater  bool
	muscle                   report.MuscleInjury
	closed                   report.ClosureResult // "" when nothing is said of it
}

// biology is what a lesion is.
type biology int

// Kinds of lesion by the deepest layer that they reach.
const (
	benign biology = iota
	intramucosal
	shallow // submucosa, within the organ's favourable depth
	deep    // submucosa, beyond it
	beyond  // muscle or deeper
	absent  // no tumour left in the specimen
	unclear // depth category cannot be given
)

// Shares of the kinds by organ; common practice, no source.
var biologyShare = map[report.Organ][]float64{
	report.Stomach:    {0.18, 0.62, 0.10, 0.08, 0.005, 0.01, 0.005},
	report.Oesophagus: {0.10, 0.72, 0.08, 0.08, 0.005, 0.01, 0.005},
	report.Duodenum:   {0.85, 0.13, 0.01, 0.005, 0, 0.005, 0},
	report.Colon:      {0.70, 0.19, 0.06, 0.04, 0.003, 0.004, 0.003},
	report.Rectum:     {0.70, 0.19, 0.06, 0.04, 0.003, 0.004, 0.003},
}

// tellingShare is for bags: the kinds of which there is most to tell come up
// twice as often as the others.
var tellingShare = []float64{0.2, 0.25, 0.2, 0.2, 0.05, 0.05, 0.05}

var biologies = []biology{benign, intramucosal, shallow, deep, beyond, absent, unclear}

// Techniques by organ and their shares; common practice, no source.
var (
	techniques = []report.Technique{
		report.ESD, report.HybridESD, report.EMR, report.PrecutEMR,
		report.UnderwaterEMR, report.HotSnare, report.ColdSnare, report.FullThickness,
	}
	techniqueShare = map[report.Organ][]float64{
		report.Stomach:    {0.96, 0.01, 0.02, 0.01, 0, 0, 0, 0},
		report.Oesophagus: {0.92, 0.01, 0.07, 0, 0, 0, 0, 0},
		report.Duodenum:   {0.05, 0.01, 0.56, 0.01, 0.17, 0, 0.20, 0},
		report.Colon:      {0.50, 0.04, 0.26, 0.02, 0.06, 0.05, 0.06, 0.01},
		report.Rectum:     {0.70, 0.04, 0.15, 0.02, 0.03, 0.03, 0.02, 0.01},
	}
	// Median long diameter in mm.
	medianSize = map[report.Organ]float64{
		report.Stomach: 17, report.Oesophagus: 22, report.Duodenum: 12, report.Colon: 24, report.Rectum: 29,
	}
	// Median speed of dissection in mm² of specimen a minute.
	medianSpeed = map[report.Organ]float64{
		report.Stomach: 14, report.Oesophagus: 15, report.Duodenum: 9, report.Colon: 15, report.Rectum: 17,
	}
)

// typeShare falls off along each list of types, whose usual ones stand first.
var typeShare = []float64{0.45, 0.2, 0.12, 0.08, 0.05, 0.03, 0.02, 0.02, 0.01, 0.01, 0.01}

// newCourse decides on the lesion of the given number.
func (s *session) newCourse(number int) course {
	c := course{number: number}
	organs := organsReached[s.kind]
	c.organ = pick(s.dice, "organ/"+string(s.kind), organs, s.even(organShare[s.kind]...)...)
	if c.organ == report.Oesophagus {
		c.mucosa = pick(s.dice, "mucosa", []report.Mucosa{report.Squamous, report.Barrett}, 0.8, 0.2)
	}
	c.left = number > 1 && pick(s.dice, "left", []bool{false, true}, 0.7, 0.3)
	if !c.left {
		s.decideEnd(&c)
	}
	c.examined = c.retrieved && s.histologyBy != "pending"
	c.biology = pick(s.dice, c.told("biology/"+string(c.organ)), biologies, s.either(biologyShare[c.organ], tellingShare)...)
	c.kind = pick(s.dice, c.told(c.typeQuestion()), c.typesOf(), s.even(typeShare...)...)
	spread := 0.42
	if s.bags != nil {
		spread = 0.9 // so that the largest and the smallest come up
	}
	c.long = math.Round(min(90, max(5, s.logNormal(medianSize[c.organ], spread))))
	c.short = math.Round(max(3, c.long*(0.65+0.3*s.rng.Float64())))
	c.stalked = c.organ.Colorectal() && c.long < 40 && pick(s.dice, c.told("stalk"), []bool{false, true}, 0.92, 0.08)
	c.round = c.organ == report.Oesophagus && pick(s.dice, "round", []bool{false, true}, 0.98, 0.02)
	if !c.left {
		s.decideResection(&c)
	}
	return c
}

// told keeps the bags of lesions that the laboratory tells of apart, so that
// every answer comes up among those.
func (c course) told(question string) string {
	if c.examined {
		return question + "/told"
	}
	return question
}

// decideEnd decides whether the resection is carried through and whether the
// specimen reaches the laboratory.
func (s *session) decideEnd(c *course) {
	c.ended, c.retrieved = report.CompletionComplete, true
	switch pick(s.dice, "end", []string{"complete", "lost", "partial", "abandoned"}, 0.98, 0.01, 0.005, 0.005) {
	case "lost":
		c.retrieved = false
	case "partial":
		c.ended = report.CompletionPartial
	case "abandoned":
		c.ended, c.retrieved = report.CompletionAbandoned, false
	}
}

// decideResection decides on technique and outcome.
func (s *session) decideResection(c *course) {
	if c.stalked {
		c.technique = pick(s.dice, "technique/stalk", []report.Technique{report.HotSnare, report.EMR}, 0.8, 0.2)
	} else {
		c.technique = pick(s.dice, "technique/"+string(c.organ), techniques, techniqueShare[c.organ]...)
	}
	if c.organ == report.Duodenum && c.technique == report.ColdSnare && c.long >= 6 && s.bags == nil {
		c.technique = report.EMR // the cold snare is for less than 6 mm
	}
	c.perforated = s.rare("perforation", s.perforationShare(c.technique))
	c.bleedsLater = s.rare("later bleeding", 0.04)
	c.muscle = s.muscle(*c)
	c.closed = s.closed(*c)
	c.pieces = s.piecesOf(*c)
	s.decideMargins(c)
	// A rim of 4 to 8 mm on each side when the submucosa is dissected, 1 to 3
	// mm otherwise; common practice, no source.
	rim := 2 * float64(s.whole(1, 3))
	if c.technique.Dissects() {
		rim = 2 * float64(s.whole(4, 8))
	}
	c.specimenLong, c.specimenSh = c.long+rim, c.short+rim
	area := math.Pi / 4 * c.specimenLong * c.specimenSh
	c.resectionMin = min(240, max(8, area/s.logNormal(medianSpeed[c.organ], 0.40)))
	if !c.technique.Dissects() {
		c.resectionMin = float64(3 + 4*c.pieces)
	}
}

// closed decides on the closure of the defect, a matter of course once the
// muscle is cut.
func (s *session) closed(c course) report.ClosureResult {
	switch c.muscle {
	case report.MuscleInjuryIII, report.MuscleInjuryIV, report.MuscleInjuryV:
		return report.ClosureComplete
	}
	if !s.has("closure") {
		return ""
	}
	return pick(s.dice, "closure", closureResults, 0.69, 0.05, 0.25, 0.01)
}

// perforationShare is the share of resections with a hole: 3% of dissections.
func (s *session) perforationShare(t report.Technique) float64 {
	if t.Dissects() {
		return 0.03
	}
	return 0.005
}

// piecesOf is 1 in 95% of dissections, more often more with a snare once a
// lesion is beyond its reach of about 20 mm.
func (s *session) piecesOf(c course) int {
	piecemeal := 0.045
	switch {
	case c.technique == report.FullThickness:
		piecemeal = 0.01
	case !c.technique.Dissects() && c.long > 20:
		piecemeal = 0.75
	case !c.technique.Dissects():
		piecemeal = 0.08
	}
	if s.rare("piecemeal", piecemeal) {
		return s.whole(2, 6)
	}
	return 1
}

// decideMargins decides on what the laboratory will find at the edges. Of
// dissections in one piece, about 92.5% are clear (so 88% of all).
func (s *session) decideMargins(c *course) {
	c.horizontal, c.vertical = report.Negative, report.Negative
	if c.pieces > 1 {
		c.horizontal = report.CannotBeAssessed
	}
	if !s.rare("margin", 0.07) {
		return
	}
	edges := []string{"horizontal positive", "horizontal unclear", "vertical positive", "vertical unclear"}
	switch pick(s.dice, "margin/which", edges, 0.5, 0.2, 0.2, 0.1) {
	case "horizontal positive":
		c.horizontal = report.Positive
	case "horizontal unclear":
		c.horizontal = report.CannotBeAssessed
	case "vertical positive":
		c.vertical = report.Positive
	case "vertical unclear":
		c.vertical = report.CannotBeAssessed
	}
	if c.biology == benign && c.vertical == report.Positive {
		c.vertical = report.CannotBeAssessed // an adenoma seldom reaches the deep edge
	}
}
