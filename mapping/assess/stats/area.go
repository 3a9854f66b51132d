package stats

import (
	"errors"
	"math"
)

// EllipseArea returns π/4 · long · short: the area of a specimen in mm² from
// its two diameters in mm. Arithmetic; that specimens are taken for ellipses
// is common practice.
func EllipseArea(longMm, shortMm float64) float64 { return math.Pi / 4 * longMm * shortMm }

// SqMmPerMinToSqCmPerHour converts mm²/min to cm²/h: 15 mm²/min are 9 cm²/h.
func SqMmPerMinToSqCmPerHour(v float64) float64 { return v * 0.6 }

// Accuracy is what a two-by-two table of a sign says, in percent.
type Accuracy struct{ Sensitivity, Specificity, PPV, NPV, Overall float64 }

var errTable = errors.New("each row and column of the two-by-two table needs at least one case")

// TwoByTwo returns the accuracy of a sign from its true and false positives
// and negatives.
func TwoByTwo(tp, fp, fn, tn int) (Accuracy, error) {
	if tp < 0 || fp < 0 || fn < 0 || tn < 0 || tp+fn == 0 || fp+tn == 0 || tp+fp == 0 || fn+tn == 0 {
		return Accuracy{}, errTable
	}
	pct := func(part, rest int) float64 { return 100 * float64(part) / float64(part+rest) }
	return Accuracy{
		Sensitivity: pct(tp, fn), Specificity: pct(tn, fp), PPV: pct(tp, fp), NPV: pct(tn, fn),
		Overall: pct(tp+tn, fp+fn),
	}, nil
}
