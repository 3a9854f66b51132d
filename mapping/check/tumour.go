package check

import (
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

// benign lists the types that do not invade.
var benign = []report.HistologyType{
	report.TypeSquamousIEN, report.TypeDysplasia, report.TypeAdenoma, report.TypeTubularAdenoma, report.TypeTubulovillous,
	report.TypeVillousAdenoma, report.TypeSSL, report.TypeSSLDysplasia, report.TypeTSA, report.TypeHyperplastic, report.TypeNoNeoplasia,
}

func benignThoughInvasive(h *report.Histology, say say) {
	malignant := func(t report.HistologyType) bool { return !slices.Contains(benign, t) }
	if len(h.Types) == 0 || slices.ContainsFunc(h.Types, malignant) {
		return
	}
	deep := h.PT.Submucosal() || h.PT == report.PT2 || h.PT == report.PTDeeper || above(h.DepthUm, 0)
	vessels := h.LymphaticInvasion == report.Positive || h.VenousInvasion == report.Positive || h.Lymphovascular == report.Positive
	if deep || vessels {
		say("/types", "Only types that do not invade are listed, and yet invasion is reported.", "Check types, category and invasion.")
	}
}

func noNeoplasiaWithTumour(h *report.Histology, say say) {
	if len(h.Types) > 1 && slices.Contains(h.Types, report.TypeNoNeoplasia) {
		say("/types", "No neoplasia is listed beside another type.", "Keep what was found.")
	}
}

// undifferentiated are the types of the stomach that are undifferentiated.
// Mucinous carcinoma counts so only in the part that invades the submucosa.
var undifferentiated = []report.HistologyType{report.TypePor1, report.TypePor2, report.TypeSig}

func undifferentiatedContradiction(h *report.Histology, say say) {
	if h.Undifferentiated == nil || len(h.Types) == 0 {
		return
	}
	listed := has(h.Types, undifferentiated...)
	mayBe := listed || has(h.Types, report.TypeMuc, report.TypeUndifferentiated, report.TypeAdenocarcinoma)
	switch {
	case h.Undifferentiated.Present == report.No && listed:
		say("/undifferentiated_component/present", "No undifferentiated component is said to be present, and an undifferentiated type is listed.", "Check both.")
	case h.Undifferentiated.Present == report.Yes && !mayBe:
		say("/undifferentiated_component/present", "An undifferentiated component is said to be present, and no such type is listed.", "Add its type, in order of amount.")
	}
}

func undifferentiatedSizeMissing(h *report.Histology, say say) {
	if u := h.Undifferentiated; u != nil && u.Present == report.Yes && !u.SizeMm.Known() {
		say("/undifferentiated_component/size_mm", "The size of the undifferentiated component is missing; curability may hang on it.", "Ask the pathologist for its long diameter on the map, several areas added.")
	}
}

func undifferentiatedElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if u := histologyOf(l).Undifferentiated; u != nil && report.Known(u.Present) {
		say("/histology/undifferentiated_component", fmt.Sprintf("An undifferentiated component, a term of gastric cancer, is reported for a lesion of the %s.", l.Examination.Organ), "Report the grade of the least differentiated part instead.")
	}
}

// itbccField is the area in which the cut-offs of budding count, in mm².
const itbccField = 0.785

// buddingOf is the grade that a count in one field stands for.
func buddingOf(count float64) report.Budding {
	switch {
	case count <= 4:
		return report.BD1
	case count <= 9:
		return report.BD2
	}
	return report.BD3
}

func buddingCountAgainstGrade(h *report.Histology, say say) {
	count, known := h.BuddingCount.Value()
	field, stated := h.BuddingFieldMm2.Value()
	graded := h.Budding == report.BD1 || h.Budding == report.BD2 || h.Budding == report.BD3
	if !known || !graded || stated && field != itbccField {
		return // other fields must be converted by the microscope's own factor
	}
	if g := buddingOf(count); g != h.Budding {
		say("/budding_count", fmt.Sprintf("%g buds in a field of 0.785 mm² are %s, and %s is reported.", count, g, h.Budding), "Check grade, count and field.")
	}
}

func buddingElsewhere(l *report.Lesion, _ *report.Report, say say) {
	if h := histologyOf(l); report.Known(h.Budding) || h.BuddingCount.Known() {
		say("/histology/budding", fmt.Sprintf("Tumour budding is graded for a lesion of the %s; the grades were agreed for the colorectum.", l.Examination.Organ), "Nothing to correct; no rule uses it here.")
	}
}

func stalkBaseLine(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	stalked := e.Pedicle == report.Yes || has(e.Paris, report.Paris0Ip, report.Paris0Isp)
	if histologyOf(l).DepthFrom == report.FromStalkBoundary && !stalked && (e.Pedicle == report.No || len(e.Paris) > 0) {
		say("/histology/depth_from", "The depth was measured from the boundary of head and stalk, and the lesion has no stalk.", "Check the base line and the Paris type.")
	}
}

func ulcerDiffers(l *report.Lesion, _ *report.Report, say say) {
	ulcerated := []report.Ulceration{report.UlcerActive, report.UlcerScar, report.UlcerEither}
	seen, found := l.Examination.Ulcer, histologyOf(l).Ulcer
	if seen == report.UlcerAbsent && slices.Contains(ulcerated, found) || slices.Contains(ulcerated, seen) && found == report.UlcerAbsent {
		say("/histology/ulceration", "An ulcer or scar was seen and not found under the microscope, or the other way round; the limits of size hang on it.", "Nothing to correct if both are so; discuss it with the pathologist.")
	}
}
