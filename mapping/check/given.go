package check

import (
	"strings"
	"time"

	"enbloc/mapping/report"
)

// Parts of a report that may be missing, as empty values: a field of what was
// not reported is a field that was not reported.

func beforeOf(r *report.Report) *report.Before {
	if r.Before == nil {
		return &report.Before{}
	}
	return r.Before
}

func planOf(r *report.Report) *report.Plan {
	if r.Plan == nil {
		return &report.Plan{}
	}
	return r.Plan
}

func resectionOf(l *report.Lesion) *report.Resection {
	if l.Resection == nil {
		return &report.Resection{}
	}
	return l.Resection
}

func specimenOf(l *report.Lesion) *report.Specimen {
	if l.Specimen == nil {
		return &report.Specimen{}
	}
	return l.Specimen
}

func histologyOf(l *report.Lesion) *report.Histology {
	if l.Histology == nil {
		return &report.Histology{}
	}
	return l.Histology
}

func closureOf(rs *report.Resection) *report.Closure {
	if rs.Closure == nil {
		return &report.Closure{}
	}
	return rs.Closure
}

func baseOf(rs *report.Resection) *report.BaseCoagulation {
	if rs.Base == nil {
		return &report.BaseCoagulation{}
	}
	return rs.Base
}

// less reports whether both figures are there and a is below b.
func less(a, b report.Number) bool {
	x, okA := a.Value()
	y, okB := b.Value()
	return okA && okB && x < y
}

// below reports whether the figure is there and below the limit.
func below(n report.Number, limit float64) bool {
	v, ok := n.Value()
	return ok && v < limit
}

// above reports whether the figure is there and above the limit.
func above(n report.Number, limit float64) bool {
	v, ok := n.Value()
	return ok && v > limit
}

// earlier reports whether both times are there and a lies before b.
func earlier(a, b report.Time) bool {
	return !a.IsZero() && !b.IsZero() && a.At().Before(b.At())
}

// span is how long it took from a to b; ok when both times are there.
func span(a, b report.Time) (d time.Duration, ok bool) {
	if a.IsZero() || b.IsZero() {
		return 0, false
	}
	return b.At().Sub(a.At()), true
}

// dateBefore reports whether d lies wholly before the day of t. A partial date
// is compared as far as it goes: 2026-03 is not before 2026-03-10.
func dateBefore(d report.Date, t report.Time) bool {
	day := t.Day()
	return d != "" && day != "" && len(d) <= len(day) && string(d) < day[:len(d)]
}

// figures joins numbers as they were written, for sentences.
func figures(unit string, ns ...report.Number) string {
	var texts []string
	for _, n := range ns {
		texts = append(texts, n.Text())
	}
	return strings.Join(texts, " and ") + " " + unit
}

// commented reports whether anybody wrote why the lesion was treated as it was.
func commented(l *report.Lesion, r *report.Report) bool {
	return l.Comment != "" || beforeOf(r).TechniqueReason != ""
}

// pieces is the number of pieces; ok when it is known.
func pieces(l *report.Lesion) (n float64, ok bool) { return resectionOf(l).Pieces.Value() }

// anyLesion reports whether one of the lesions is as asked.
func anyLesion(r *report.Report, is func(*report.Lesion) bool) bool {
	for i := range r.Lesions {
		if is(&r.Lesions[i]) {
			return true
		}
	}
	return false
}

// gastricDissection is a gastric lesion removed by ESD or hybrid ESD.
func gastricDissection(l *report.Lesion) bool {
	return l.Examination.Organ == report.Stomach && resectionOf(l).Technique.Dissects()
}

// colorectal is a lesion of colon or rectum.
func colorectal(l *report.Lesion) bool { return l.Examination.Organ.Colorectal() }
