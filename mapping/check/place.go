package check

import (
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

// organsOf lists the organs that each site is part of. The junction, the
// dentate line and the rectosigmoid belong to two.
var organsOf = map[report.Site][]report.Organ{
	report.SiteCervical:       {report.Oesophagus},
	report.SiteThoracic:       {report.Oesophagus},
	report.SiteAbdominal:      {report.Oesophagus},
	report.SiteJunction:       {report.Oesophagus, report.Stomach},
	report.SiteCardia:         {report.Stomach},
	report.SiteFundus:         {report.Stomach},
	report.SiteBody:           {report.Stomach},
	report.SiteAngle:          {report.Stomach},
	report.SiteAntrum:         {report.Stomach},
	report.SitePrepylorus:     {report.Stomach},
	report.SitePylorus:        {report.Stomach},
	report.SiteRemnant:        {report.Stomach},
	report.SiteBulb:           {report.Duodenum},
	report.SiteSecondPart:     {report.Duodenum},
	report.SiteThirdPart:      {report.Duodenum},
	report.SiteFourthPart:     {report.Duodenum},
	report.SiteMajorPapilla:   {report.Duodenum},
	report.SiteTerminalIleum:  {report.Colon}, // seen from the colon; the format has no small bowel
	report.SiteCaecum:         {report.Colon},
	report.SiteIleocaecal:     {report.Colon},
	report.SiteAscending:      {report.Colon},
	report.SiteHepaticFlexure: {report.Colon},
	report.SiteTransverse:     {report.Colon},
	report.SiteSplenicFlexure: {report.Colon},
	report.SiteDescending:     {report.Colon},
	report.SiteSigmoid:        {report.Colon},
	report.SiteRectosigmoid:   {report.Colon, report.Rectum},
	report.SiteUpperRectum:    {report.Rectum},
	report.SiteLowerRectum:    {report.Rectum},
	report.SiteDentateLine:    {report.Rectum},
}

func siteOfOtherOrgan(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if organs, known := organsOf[e.Site]; known && !slices.Contains(organs, e.Organ) {
		say("/examination/site", fmt.Sprintf("The site %s is no part of the %s.", e.Site, e.Organ), "Check organ and site.")
	}
}

func curvatureElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if w := l.Examination.Wall; w == report.WallLesser || w == report.WallGreater {
		say("/examination/wall", fmt.Sprintf("Curvatures belong to the stomach, and the lesion is of the %s.", l.Examination.Organ), "Check organ and wall.")
	}
}

func thirdElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if report.Known(l.Examination.Third) {
		say("/examination/third", fmt.Sprintf("Thirds belong to stomach and oesophagus, and the lesion is of the %s.", l.Examination.Organ), "Give the site instead.")
	}
}

func barrettElsewhere(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if e.Site == report.SiteJunction || e.Site == report.SiteCardia {
		return // Barrett mucosa reaches down here
	}
	if e.Mucosa == report.Barrett || e.PragueCCm.Known() || e.PragueMCm.Known() {
		say("/examination/mucosa", fmt.Sprintf("Barrett mucosa is described for a lesion of the %s.", e.Organ), "Check organ, mucosa and the Prague extents.")
	}
}

func pragueMBelowC(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if less(e.PragueMCm, e.PragueCCm) {
		say("/examination/prague_m_cm", "The maximal Barrett extent (M) is shorter than the circumferential extent (C), which it includes.", "Check both; they may be exchanged.")
	}
}

func barrettWithoutPrague(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if e.Mucosa == report.Barrett && (!e.PragueCCm.Reported() || !e.PragueMCm.Reported()) {
		say("/examination/prague_m_cm", "The lesion lies in Barrett mucosa, and its extent is not given.", "Add the Prague extents C and M in centimetres.")
	}
}

func distanceFromWrongEnd(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if e.Organ.Colorectal() && e.DistanceIncisorsCm.Known() {
		say("/examination/distance_incisors_cm", fmt.Sprintf("A lesion of the %s is measured from the incisors.", e.Organ), "Use distance_anal_verge_cm, or check the organ.")
	}
	if !e.Organ.Colorectal() && e.DistanceAnalVergeCm.Known() {
		say("/examination/distance_anal_verge_cm", fmt.Sprintf("A lesion of the %s is measured from the anal verge.", e.Organ), "Use distance_incisors_cm, or check the organ.")
	}
}

// Distances beyond these are unusual in adults, in centimetres.
const (
	gulletBegins, gulletEnds = 12, 50
	rectumEnds               = 20
)

func distanceImplausible(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if d := e.DistanceIncisorsCm; e.Organ == report.Oesophagus && (below(d, gulletBegins) || above(d, gulletEnds)) {
		say("/examination/distance_incisors_cm", "An oesophageal lesion is said to lie "+figures("cm", d)+" from the incisors.", "Check organ and distance.")
	}
	if d := e.DistanceAnalVergeCm; e.Organ == report.Rectum && above(d, rectumEnds) {
		say("/examination/distance_anal_verge_cm", "A rectal lesion is said to lie "+figures("cm", d)+" from the anal verge.", "Check organ and distance.")
	}
}

func papillaElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if l.Examination.Papilla == report.Yes {
		say("/examination/involves_papilla", fmt.Sprintf("The papilla is in the duodenum, and the lesion is of the %s.", l.Examination.Organ), "Check the organ.")
	}
}

func circumferenceContradiction(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	whole := !below(e.CircumferencePct, 100)
	if !e.CircumferencePct.Known() {
		return
	}
	if e.Circumferential == report.Yes && !whole || e.Circumferential == report.No && whole {
		say("/examination/circumference_pct", "The share of the circumference ("+figures("per cent", e.CircumferencePct)+") contradicts whether the lesion goes all the way round.", "Check both.")
	}
}
