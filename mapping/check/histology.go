package check

import (
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

func depthThoughIntramucosal(h *report.Histology, say say) {
	if h.PT.Intramucosal() && above(h.DepthUm, 0) {
		say("/depth_um", fmt.Sprintf("A depth of submucosal invasion is given with %s, which stays within the mucosa.", h.PT), "Check category and depth.")
	}
}

func depthMissing(h *report.Histology, say say) {
	if neuroendocrine := has(h.Types, report.TypeNET); h.PT.Submucosal() && !h.DepthUm.Known() && !neuroendocrine {
		say("/depth_um", fmt.Sprintf("The depth of invasion is missing with %s; curability hangs on it.", h.PT), "Ask the pathologist for the depth in micrometres and the line it was measured from.")
	}
}

// Depth that separates SM1 from deeper steps, in micrometres: in the stomach
// SM1 is below 500, in the squamous oesophagus up to and including 200.
const (
	gastricSM1  = 500
	squamousSM1 = 200
)

func depthAgainstStep(l *report.Lesion, _ *report.Report, say say) {
	h, e := histologyOf(l), &l.Examination
	depth, known := h.DepthUm.Value()
	var shallow bool
	var limit string
	switch {
	case !known:
		return
	case e.Organ == report.Stomach:
		shallow, limit = depth < gastricSM1, "SM1 ends below 500 µm in the stomach"
	case e.Mucosa == report.Squamous:
		shallow, limit = depth <= squamousSM1, "SM1 ends at 200 µm in the squamous oesophagus"
	default:
		return // no step is confirmed for Barrett mucosa
	}
	deepStep := h.PT == report.PT1bSM2 || h.PT == report.PT1bSM3
	if h.PT == report.PT1bSM1 && !shallow || deepStep && shallow {
		say("/histology/depth_um", fmt.Sprintf("%s and a depth of %s contradict each other; %s.", h.PT, figures("µm", h.DepthUm), limit), "Check category and depth.")
	}
}

// categoriesOf lists the depth categories that only some organs have.
var categoriesOf = map[report.PT][]report.Organ{
	report.PT1aEP:  {report.Oesophagus},
	report.PT1aLPM: {report.Oesophagus},
	report.PT1aMM:  {report.Oesophagus},
	report.PT1bSM3: {report.Oesophagus},
	report.PT1:     {report.Colon, report.Rectum},
	report.PT1a:    {report.Oesophagus, report.Stomach, report.Duodenum},
	report.PT1b:    {report.Oesophagus, report.Stomach, report.Duodenum},
}

func ptOfOtherOrgan(l *report.Lesion, _ *report.Report, say say) {
	h, e := histologyOf(l), &l.Examination
	if organs, limited := categoriesOf[h.PT]; limited && !slices.Contains(organs, e.Organ) {
		say("/histology/pt", fmt.Sprintf("The category %s is not used for the %s.", h.PT, e.Organ), "Check organ and category.")
	}
}

// typesOf lists the types that are at home in some organs only. Squamous
// neoplasia also occurs at the dentate line.
var typesOf = map[report.HistologyType][]report.Organ{
	report.TypeSCC:          {report.Oesophagus, report.Rectum},
	report.TypeSquamousIEN:  {report.Oesophagus, report.Rectum},
	report.TypeSSL:          {report.Colon, report.Rectum},
	report.TypeSSLDysplasia: {report.Colon, report.Rectum},
	report.TypeTSA:          {report.Colon, report.Rectum},
}

func typeOfOtherOrgan(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	for i, t := range histologyOf(l).Types {
		if organs, limited := typesOf[t]; limited && !slices.Contains(organs, e.Organ) {
			say(at("/histology/types", i), fmt.Sprintf("The type %s is unusual in the %s.", t, e.Organ), "Check organ and type, and whether the histology belongs to this lesion.")
		}
	}
}

// margin is one of the two margins with its distance.
type margin struct {
	name, pointer string
	sign          report.Sign
	distance      report.Number
}

func margins(h *report.Histology) []margin {
	return []margin{
		{"horizontal", "/horizontal_distance_mm", h.HorizontalMargin, h.HorizontalDistanceMm},
		{"vertical", "/vertical_distance_um", h.VerticalMargin, h.VerticalDistanceUm},
	}
}

func positiveMarginWithDistance(h *report.Histology, say say) {
	for _, m := range margins(h) {
		if m.sign == report.Positive && above(m.distance, 0) {
			say(m.pointer, "The "+m.name+" margin is positive, and yet the tumour keeps a distance from it.", "Check margin and distance.")
		}
	}
}

func negativeMarginAtZero(h *report.Histology, say say) {
	for _, m := range margins(h) {
		if d, known := m.distance.Value(); m.sign == report.Negative && known && d == 0 {
			say(m.pointer, "The "+m.name+" margin is negative at a distance of zero.", "Check margin and distance.")
		}
	}
}

func clearMarginPiecemeal(l *report.Lesion, _ *report.Report, say say) {
	if n, ok := pieces(l); ok && n > 1 && histologyOf(l).HorizontalMargin == report.Negative {
		say("/histology/horizontal_margin", fmt.Sprintf("The horizontal margin is negative in %g pieces; R0 needs one piece.", n), "Ask how the pathologist put the pieces together.")
	}
}

func invasionContradiction(h *report.Histology, say say) {
	ly, v, both := h.LymphaticInvasion, h.VenousInvasion, h.Lymphovascular
	either := ly == report.Positive || v == report.Positive
	neither := ly == report.Negative && v == report.Negative
	if both == report.Negative && either || both == report.Positive && neither {
		say("/lymphovascular_invasion", "Lymphatic and venous invasion, reported apart, contradict what is reported for both together.", "Keep them apart and remove lymphovascular_invasion.")
	}
}

func gradeOrder(h *report.Histology, say say) {
	order := []report.Grade{report.GradeWell, report.GradeModerate, report.GradePoor, report.GradeUndifferentiated}
	dominant, worst := slices.Index(order, h.Grade), slices.Index(order, h.WorstGrade)
	if dominant >= 0 && worst >= 0 && worst < dominant {
		say("/worst_grade", "The grade of the least differentiated part is better than that of the dominant part.", "Check both; they may be exchanged.")
	}
}
