package sample

import "enbloc/mapping/report"

// place is a site with the third of the organ that it lies in, if any.
type place struct {
	site  report.Site
	third report.Third
}

// places of each organ. The oesophagus depends on its mucosa, see placesOf.
var places = map[report.Organ][]place{
	report.Stomach: {
		{report.SiteAntrum, report.LowerThird}, {report.SiteBody, report.MiddleThird}, {report.SiteAngle, report.MiddleThird},
		{report.SitePrepylorus, report.LowerThird}, {report.SitePylorus, report.LowerThird}, {report.SiteBody, report.UpperThird},
		{report.SiteBody, report.LowerThird}, {report.SiteCardia, report.UpperThird}, {report.SiteFundus, report.UpperThird},
		{report.SiteRemnant, report.UpperThird}, {report.SiteJunction, report.UpperThird},
	},
	report.Oesophagus: {
		{report.SiteThoracic, report.MiddleThird}, {report.SiteThoracic, report.UpperThird}, {report.SiteThoracic, report.LowerThird},
		{report.SiteCervical, report.UpperThird}, {report.SiteAbdominal, report.LowerThird},
	},
	report.Duodenum: {
		{report.SiteSecondPart, ""}, {report.SiteBulb, ""}, {report.SiteThirdPart, ""}, {report.SiteFourthPart, ""}, {report.SiteMajorPapilla, ""},
	},
	report.Colon: {
		{report.SiteAscending, ""}, {report.SiteSigmoid, ""}, {report.SiteTransverse, ""}, {report.SiteCaecum, ""}, {report.SiteDescending, ""},
		{report.SiteHepaticFlexure, ""}, {report.SiteSplenicFlexure, ""}, {report.SiteIleocaecal, ""}, {report.SiteRectosigmoid, ""}, {report.SiteTerminalIleum, ""},
	},
	report.Rectum: {
		{report.SiteLowerRectum, ""}, {report.SiteUpperRectum, ""}, {report.SiteRectosigmoid, ""}, {report.SiteDentateLine, ""},
	},
}

var barrettPlaces = []place{{report.SiteAbdominal, report.LowerThird}, {report.SiteJunction, report.LowerThird}, {report.SiteThoracic, report.LowerThird}}

// place chooses where the lesion sits.
func (s *session) place(c course) place {
	if c.mucosa == report.Barrett {
		return pick(s.dice, "place/barrett", barrettPlaces)
	}
	return pick(s.dice, "place/"+string(c.organ), places[c.organ])
}

// walls of each organ; the stomach is named by its curvatures.
var (
	stomachWalls = []report.Wall{report.WallLesser, report.WallGreater, report.WallAnterior, report.WallPosterior}
	tubeWalls    = []report.Wall{report.WallAnterior, report.WallPosterior, report.WallLeft, report.WallRight}
	sideWalls    = []report.Wall{report.WallMedial, report.WallLateral, report.WallAnterior, report.WallPosterior}
)

func (s *session) wall(c course) report.Wall {
	switch {
	case c.round:
		return plain(s.dice, "wall/round", []report.Wall{report.WallCircumferential})
	case c.organ == report.Stomach:
		return plain(s.dice, "wall/stomach", stomachWalls)
	case c.organ == report.Duodenum:
		return plain(s.dice, "wall/duodenum", sideWalls)
	}
	return plain(s.dice, "wall/tube", tubeWalls)
}

// histology types of each organ by what the lesion is, the usual ones first.
var (
	benignTypes = map[report.Organ][]report.HistologyType{
		report.Stomach:    {report.TypeAdenoma, report.TypeTubularAdenoma, report.TypeHyperplastic},
		report.Oesophagus: {report.TypeSquamousIEN},
		report.Duodenum:   {report.TypeTubularAdenoma, report.TypeTubulovillous, report.TypeVillousAdenoma, report.TypeAdenoma},
		report.Colon: {
			report.TypeTubularAdenoma, report.TypeTubulovillous, report.TypeSSL, report.TypeVillousAdenoma, report.TypeSSLDysplasia,
			report.TypeTSA, report.TypeHyperplastic,
		},
		report.Rectum: {
			report.TypeTubularAdenoma, report.TypeTubulovillous, report.TypeVillousAdenoma, report.TypeTSA, report.TypeSSL,
			report.TypeSSLDysplasia, report.TypeHyperplastic,
		},
	}
	mucosalCancers = map[report.Organ][]report.HistologyType{
		report.Stomach:    {report.TypeTub1, report.TypeTub2, report.TypePap, report.TypeSig, report.TypePor2, report.TypeAdenocarcinoma},
		report.Oesophagus: {report.TypeSCC},
		report.Duodenum:   {report.TypeAdenocarcinoma},
		report.Colon:      {report.TypeAdenocarcinoma},
		report.Rectum:     {report.TypeAdenocarcinoma},
	}
	invasiveCancers = map[report.Organ][]report.HistologyType{
		report.Stomach: {
			report.TypeTub2, report.TypeTub1, report.TypePor1, report.TypePor2, report.TypeMuc, report.TypePap, report.TypeSig,
			report.TypeNET, report.TypeNEC, report.TypeUndifferentiated, report.TypeAdenocarcinoma,
		},
		report.Oesophagus: {report.TypeSCC},
		report.Duodenum:   {report.TypeAdenocarcinoma, report.TypeNET},
		report.Colon:      {report.TypeAdenocarcinoma, report.TypeMuc, report.TypeMedullary, report.TypeNEC},
		report.Rectum:     {report.TypeAdenocarcinoma, report.TypeNET, report.TypeMuc},
	}
)

// typesOf lists what the laboratory may call the lesion.
func (c course) typesOf() []report.HistologyType {
	barrett := c.mucosa == report.Barrett
	switch {
	case c.biology == absent:
		return []report.HistologyType{report.TypeNoNeoplasia}
	case barrett && c.biology == benign:
		return []report.HistologyType{report.TypeDysplasia}
	case barrett:
		return []report.HistologyType{report.TypeAdenocarcinoma}
	case c.biology == benign:
		return benignTypes[c.organ]
	case c.biology == intramucosal:
		return mucosalCancers[c.organ]
	}
	return invasiveCancers[c.organ]
}

// typeQuestion names the list that typesOf returns.
func (c course) typeQuestion() string {
	return "types/" + string(c.organ) + "/" + string(c.mucosa) + "/" + string(rune('0'+c.biology))
}

// categories of depth by organ and biology, and the bounds of the depth in µm
// from the muscularis mucosae that go with the submucosal ones. The favourable
// depth ends below 500 µm in the stomach, at 200 µm in the squamous
// oesophagus, at 500 µm in Barrett mucosa and below 1000 µm in the colorectum.
func (c course) categories() []report.PT {
	squamous := c.organ == report.Oesophagus && c.mucosa != report.Barrett
	switch c.biology {
	case benign:
		return []report.PT{report.PT(report.NotApplicable)}
	case absent:
		return []report.PT{report.PT0}
	case unclear:
		return []report.PT{report.PTX}
	case beyond:
		return []report.PT{report.PT2, report.PTDeeper}
	case intramucosal:
		switch {
		case squamous:
			return []report.PT{report.PT1aLPM, report.PT1aEP, report.PT1aMM}
		case c.organ.Colorectal():
			return []report.PT{report.PTis}
		}
		return []report.PT{report.PT1a}
	case shallow:
		if c.organ.Colorectal() {
			return []report.PT{report.PT1}
		}
		return []report.PT{report.PT1bSM1, report.PT1b}
	}
	switch {
	case c.organ.Colorectal():
		return []report.PT{report.PT1}
	case squamous:
		return []report.PT{report.PT1bSM2, report.PT1b, report.PT1bSM3}
	}
	return []report.PT{report.PT1bSM2, report.PT1b}
}

// favourable is the depth in µm up to which invasion counts as shallow.
func (c course) favourable() int {
	switch {
	case c.organ.Colorectal():
		return 990
	case c.organ == report.Oesophagus && c.mucosa != report.Barrett:
		return 200
	}
	return 490
}
