package assess

import (
	"encoding/json"

	"enbloc/mapping/report"
)

// blank is a report with one lesion that has an organ and nothing else.
func blank(organ report.Organ) *caseReport {
	return &caseReport{Report: report.Report{
		Lesions: []report.Lesion{{Number: 1, Examination: report.Examination{Organ: organ}}},
	}}
}

// specimen is a lesion resected in one piece, with nothing left, clear margins
// and no vessel invasion: what a case on curability takes for granted about
// everything that it does not name.
func specimen(organ report.Organ) *caseReport {
	c := blank(organ)
	c.lesion().Resection = &report.Resection{Technique: report.ESD, Pieces: report.Int(1), VisibleResidual: report.No}
	c.lesion().Histology = &report.Histology{
		HorizontalMargin: report.Negative, VerticalMargin: report.Negative,
		LymphaticInvasion: report.Negative, VenousInvasion: report.Negative,
	}
	return c
}

func gastricSpecimenCase() *caseReport { return specimen(report.Stomach) }

// c2Specimen is a specimen that is eCura C-2 whatever the five factors of the
// score are: the score's cases speak of such lesions only.
func c2Specimen() *caseReport {
	c := specimen(report.Stomach)
	c.histology().Types = []report.HistologyType{report.TypePor2}
	c.histology().PT, c.histology().Ulcer = report.PT1b, report.UlcerScar
	c.finally(func(c *caseReport) error {
		if um, ok := c.histology().DepthUm.Value(); !ok || um == 0 {
			c.histology().PT = report.PT1a
		}
		return nil
	})
	return c
}

// gastricLesion is a lesion before its first resection.
func gastricLesion() *caseReport {
	c := blank(report.Stomach)
	c.Before = &report.Before{Indication: report.IntentCurative}
	return c
}

// Where the values of the gastric rules go.
var (
	mapSize      = number(func(c *caseReport) *report.Number { return &c.histology().TumourLongMm })
	clinicalSize = number(func(c *caseReport) *report.Number { return &c.seen().SizeLongMm })
	depthUm      = numberOrNull(func(c *caseReport) *report.Number { return &c.histology().DepthUm })
	hm           = sign01(func(c *caseReport) *report.Sign { return &c.histology().HorizontalMargin })
	vm           = sign01(func(c *caseReport) *report.Sign { return &c.histology().VerticalMargin })
	ly           = sign01(func(c *caseReport) *report.Sign { return &c.histology().LymphaticInvasion })
	venous       = sign01(func(c *caseReport) *report.Sign { return &c.histology().VenousInvasion })
	pieces       = number(func(c *caseReport) *report.Number { return &c.resection().Pieces })

	lvi = zeroOne(func(c *caseReport, positive bool) {
		c.histology().LymphaticInvasion, c.histology().VenousInvasion = "", ""
		c.histology().Lymphovascular = report.Negative
		if positive {
			c.histology().Lymphovascular = report.Positive
		}
	})
	enBloc = flag(func(c *caseReport, is bool) {
		c.resection().Pieces = report.Int(1)
		if !is {
			c.resection().Pieces = report.Int(2)
		}
	})
	pathologicalUlcer = zeroOne(func(c *caseReport, is bool) { c.histology().Ulcer = ulcer(is) })
	clinicalUlcer     = zeroOne(func(c *caseReport, is bool) { c.seen().Ulcer = ulcer(is) })

	dominant = word(map[string]func(*caseReport){
		"differentiated":   func(c *caseReport) { c.histology().Types = []report.HistologyType{report.TypeTub1} },
		"undifferentiated": func(c *caseReport) { c.histology().Types = []report.HistologyType{report.TypePor2} },
	})
	grade = word(map[string]func(*caseReport){
		"well-moderate":    func(c *caseReport) { c.histology().Grade = report.GradeModerate },
		"undifferentiated": func(c *caseReport) { c.histology().Grade = report.GradePoor },
	})
	japaneseDepth = word(map[string]func(*caseReport){
		"pT1a": func(c *caseReport) { c.histology().PT = report.PT1a },
		"pT1b": func(c *caseReport) { c.histology().PT = report.PT1b },
	})
	europeanDepth = word(map[string]func(*caseReport){
		"intramucosal": func(c *caseReport) { c.histology().PT = report.PT1a },
		"sm1":          func(c *caseReport) { c.histology().PT = report.PT1bSM1 },
		"sm2":          func(c *caseReport) { c.histology().PT = report.PT1bSM2 },
	})
)

func ulcer(is bool) report.Ulceration {
	if is {
		return report.UlcerScar
	}
	return report.UlcerAbsent
}

func undifferentiatedPart(c *caseReport) *report.Undifferentiated {
	if c.histology().Undifferentiated == nil {
		c.histology().Undifferentiated = &report.Undifferentiated{Present: report.No}
	}
	return c.histology().Undifferentiated
}

// partSize takes 0 for "there is none".
func partSize(c *caseReport, v json.RawMessage) error {
	u := undifferentiatedPart(c)
	if err := number(func(*caseReport) *report.Number { return &u.SizeMm })(c, v); err != nil {
		return err
	}
	if size, _ := u.SizeMm.Value(); size > 0 {
		u.Present = report.Yes
	}
	return nil
}

var partInSubmucosa = flag(func(c *caseReport, is bool) {
	u := undifferentiatedPart(c)
	u.InSubmucosa = report.No
	if is {
		u.Present, u.InSubmucosa = report.Yes, report.Yes
	}
})

func organIs(name string, organ report.Organ) setter {
	return word(map[string]func(*caseReport){name: func(c *caseReport) { c.seen().Organ = organ }})
}
