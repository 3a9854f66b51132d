package check

import (
	"fmt"

	"enbloc/mapping/report"
)

func shortExceedsLong(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; less(e.SizeLongMm, e.SizeShortMm) {
		say("/examination/size_short_mm", "The short diameter of the lesion exceeds the long one ("+figures("mm", e.SizeShortMm, e.SizeLongMm)+").", "Check both; they may be exchanged.")
	}
	if s := specimenOf(l); less(s.SizeLongMm, s.SizeShortMm) {
		say("/specimen/size_short_mm", "The short diameter of the specimen exceeds the long one ("+figures("mm", s.SizeShortMm, s.SizeLongMm)+").", "Check both; they may be exchanged.")
	}
}

func tumourShortExceedsLong(h *report.Histology, say say) {
	if less(h.TumourLongMm, h.TumourShortMm) {
		say("/tumour_short_mm", "The short diameter of the tumour exceeds the long one ("+figures("mm", h.TumourShortMm, h.TumourLongMm)+").", "Check both; they may be exchanged.")
	}
}

// centimetreLike: what is dissected is rarely below 5 mm, and 2.2 cm typed
// into a field of millimetres always is.
const centimetreLike = 5

func looksLikeCentimetres(l *report.Lesion, _ *report.Report, say say) {
	if !resectionOf(l).Technique.Dissects() {
		return
	}
	for _, size := range []struct {
		pointer string
		long    report.Number
	}{
		{"/examination/size_long_mm", l.Examination.SizeLongMm},
		{"/specimen/size_long_mm", specimenOf(l).SizeLongMm},
		{"/histology/tumour_long_mm", histologyOf(l).TumourLongMm},
	} {
		if below(size.long, centimetreLike) {
			say(size.pointer, "A long diameter of "+figures("mm", size.long)+" is unusual for a dissection; it may have been meant in centimetres.", "Check the unit; the field is in millimetres.")
		}
	}
}

func tumourExceedsSpecimen(l *report.Lesion, _ *report.Report, say say) {
	h, s := histologyOf(l), specimenOf(l)
	if n, ok := pieces(l); ok && n == 1 && less(s.SizeLongMm, h.TumourLongMm) {
		say("/histology/tumour_long_mm", "The tumour on the map is longer than the single specimen ("+figures("mm", h.TumourLongMm, s.SizeLongMm)+").", "Check both sizes, and whether the histology belongs to this lesion.")
	}
}

// farApart is the ratio from which a shrunken specimen and a rough estimate
// no longer explain the difference of two sizes.
const farApart = 2

func pathologyDiffers(l *report.Lesion, _ *report.Report, say say) {
	seen, okSeen := l.Examination.SizeLongMm.Value()
	found, okFound := histologyOf(l).TumourLongMm.Value()
	if okSeen && okFound && seen > 0 && found > 0 && (found/seen >= farApart || seen/found >= farApart) {
		say("/histology/tumour_long_mm", fmt.Sprintf("The size seen and the size on the map differ by a factor of %.1f.", max(found/seen, seen/found)),
			"Check both sizes, and whether the histology belongs to this lesion.")
	}
}

func specimenSmallerThanLesion(l *report.Lesion, _ *report.Report, say say) {
	n, known := pieces(l)
	if known && n > 1 {
		return // each piece is smaller than the lesion, as it must be
	}
	e, s := &l.Examination, specimenOf(l)
	switch {
	case less(s.SizeLongMm, e.SizeLongMm):
		say("/specimen/size_long_mm", "The specimen is shorter than the lesion that it should contain ("+figures("mm", s.SizeLongMm, e.SizeLongMm)+").", "Check both sizes and the number of pieces.")
	case less(s.SizeShortMm, e.SizeShortMm):
		say("/specimen/size_short_mm", "The specimen is narrower than the lesion that it should contain ("+figures("mm", s.SizeShortMm, e.SizeShortMm)+").", "Check both sizes and the number of pieces.")
	}
}

func defectSmallerThanLesion(l *report.Lesion, _ *report.Report, say say) {
	e, rs := &l.Examination, resectionOf(l)
	if rs.Completion != report.CompletionComplete {
		return
	}
	if less(rs.DefectCircumferencePct, e.CircumferencePct) {
		say("/resection/defect_circumference_pct", "After a complete resection the defect takes less of the circumference than the lesion did ("+figures("per cent", rs.DefectCircumferencePct, e.CircumferencePct)+").", "Check both; the field is about the defect.")
	}
	if less(rs.DefectLengthMm, e.AxialLengthMm) {
		say("/resection/defect_length_mm", "After a complete resection the defect is shorter than the lesion was ("+figures("mm", rs.DefectLengthMm, e.AxialLengthMm)+").", "Check both; the field is about the defect.")
	}
}
