package check

import (
	"fmt"
	"slices"

	"enbloc/mapping/report"
)

// has reports whether the list holds any of the wanted.
func has[T comparable](list []T, wanted ...T) bool {
	return slices.ContainsFunc(list, func(v T) bool { return slices.Contains(wanted, v) })
}

func parisPedunculatedMix(l *report.Lesion, _ *report.Report, say say) {
	if p := l.Examination.Paris; has(p, report.Paris0Ip) && has(p, report.Paris0IIb, report.Paris0IIc, report.Paris0III) {
		say("/examination/paris", "A pedunculated type (0-Ip) is combined with a flat, depressed or excavated one.", "Check the types; the dominant one comes first.")
	}
}

func parisPedicle(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	stalked := has(e.Paris, report.Paris0Ip, report.Paris0Isp)
	if e.Pedicle == report.No && has(e.Paris, report.Paris0Ip) || e.Pedicle == report.Yes && len(e.Paris) > 0 && !stalked {
		say("/examination/pedicle", "The Paris type and whether there is a pedicle contradict each other.", "Check both: 0-Ip sits on a pedicle, 0-Is and 0-II do not.")
	}
}

// The height from which an elevated lesion is 0-Is and no longer 0-IIa, in mm.
const (
	columnarLimit = 2.5
	squamousLimit = 1.2
)

// heightLimit is the limit for the lesion's mucosa; ok is false in an
// oesophagus whose mucosa is not known.
func heightLimit(e *report.Examination) (limit float64, ok bool) {
	switch {
	case e.Organ != report.Oesophagus, e.Mucosa == report.Barrett, e.Mucosa == report.Columnar:
		return columnarLimit, true
	case e.Mucosa == report.Squamous:
		return squamousLimit, true
	}
	return 0, false
}

// purely reports whether the one of two types was chosen and the other not.
func purely(e *report.Examination, is, not report.ParisType) bool {
	return has(e.Paris, is) && !has(e.Paris, not)
}

func parisHeight(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	limit, ok := heightLimit(e)
	if !ok {
		return
	}
	flat := purely(e, report.Paris0IIa, report.Paris0Is) && !has(e.Paris, report.Paris0Isp, report.Paris0Ip)
	switch {
	case flat && above(e.HeightMm, limit):
		say("/examination/height_mm", fmt.Sprintf("A lesion of type 0-IIa is said to be %s high; above %g mm it is 0-Is here.", figures("mm", e.HeightMm), limit), "Check height and type.")
	case purely(e, report.Paris0Is, report.Paris0IIa) && below(e.HeightMm, limit):
		say("/examination/height_mm", fmt.Sprintf("A lesion of type 0-Is is said to be %s high; below %g mm it is 0-IIa here.", figures("mm", e.HeightMm), limit), "Check height and type.")
	}
}

func parisHeightAtLimit(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	limit, ok := heightLimit(e)
	height, known := e.HeightMm.Value()
	if ok && known && height == limit && has(e.Paris, report.Paris0Is, report.Paris0IIa) {
		say("/examination/height_mm", fmt.Sprintf("The height is exactly %g mm, where the source leaves open whether it is 0-IIa or 0-Is.", limit), "Look at the pictures again; the type as entered is kept.")
	}
}

func colorectalClassElsewhere(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	for _, class := range []struct {
		field string
		given bool
	}{
		{"nice", report.Known(e.NICE)},
		{"jnet", report.Known(e.JNET) || report.Known(e.JNETVessel) || report.Known(e.JNETSurface)},
		{"kudo", len(e.Kudo) > 0},
		{"lst", report.Known(e.LST)},
	} {
		if class.given {
			say("/examination/"+class.field, fmt.Sprintf("A colorectal class is given for a lesion of the %s.", e.Organ), "Check the organ, or remove the class.")
		}
	}
}

// smallestLST is the size from which a lesion is called lateral spreading.
const smallestLST = 10 // mm

func lstTooSmall(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; report.Known(e.LST) && below(e.SizeLongMm, smallestLST) {
		say("/examination/lst", "A lateral-spreading subtype is given for a lesion of "+figures("mm", e.SizeLongMm)+"; the term begins at 10 mm.", "Check size and subtype.")
	}
}

func lstPedunculated(l *report.Lesion, _ *report.Report, say say) {
	if e := &l.Examination; report.Known(e.LST) && has(e.Paris, report.Paris0Ip) {
		say("/examination/lst", "A lesion is called lateral spreading and pedunculated (0-Ip).", "Check subtype and Paris type.")
	}
}

// jnetOfNICE lists the JNET classes that agree with each NICE class. NICE 2
// reaches from adenoma to superficial submucosal cancer.
var jnetOfNICE = map[report.NICE][]report.JNET{
	report.NICE1: {report.JNET1},
	report.NICE2: {report.JNET2A, report.JNET2B},
	report.NICE3: {report.JNET3},
}

func niceAgainstJNET(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if agree, known := jnetOfNICE[e.NICE]; known && report.Known(e.JNET) && !slices.Contains(agree, e.JNET) {
		say("/examination/jnet", fmt.Sprintf("NICE %s and JNET %s expect different lesions.", e.NICE, e.JNET), "Check both; magnification decides.")
	}
}

// The patterns that each JNET class is defined by.
var (
	vesselOfJNET = map[report.JNET]report.JNETVessel{
		report.JNET1: report.VesselInvisible, report.JNET2A: report.VesselRegular,
		report.JNET2B: report.VesselVariable, report.JNET3: report.VesselLoose,
	}
	surfaceOfJNET = map[report.JNET]report.JNETSurface{
		report.JNET1: report.SurfaceSpots, report.JNET2A: report.SurfaceRegular,
		report.JNET2B: report.SurfaceIrregular, report.JNET3: report.SurfaceAmorphous,
	}
)

func jnetAgainstPattern(l *report.Lesion, _ *report.Report, say say) {
	e := &l.Examination
	if v, known := vesselOfJNET[e.JNET]; known && report.Known(e.JNETVessel) && e.JNETVessel != v {
		say("/examination/jnet_vessel", fmt.Sprintf("The vessel pattern does not belong to JNET %s.", e.JNET), "Check class and pattern.")
	}
	if s, known := surfaceOfJNET[e.JNET]; known && report.Known(e.JNETSurface) && e.JNETSurface != s {
		say("/examination/jnet_surface", fmt.Sprintf("The surface pattern does not belong to JNET %s.", e.JNET), "Check class and pattern.")
	}
}
