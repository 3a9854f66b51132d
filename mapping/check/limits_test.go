package check

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// Limits that a publication draws, on both sides and at the limit itself.
func TestPublishedLimits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		source string
		base   func(testing.TB) report.Report
		change func(r *report.Report)
		id     string
		speaks bool
	}{
		{"0-IIa at 2.4 mm", "Paris workshop 2003: 0-Is above 2.5 mm", gastric, flat("2.4"), "examination.paris-height", false},
		{"0-IIa at 2.5 mm", "undefined in the source", gastric, flat("2.5"), "examination.paris-height", false},
		{"0-IIa at 2.6 mm", "Paris workshop 2003: 0-Is above 2.5 mm", gastric, flat("2.6"), "examination.paris-height", true},
		{"0-IIa at 1.2 mm, squamous", "Endoscopy 2005;37:570", squamous, flat("1.2"), "examination.paris-height", false},
		{"0-IIa at 1.3 mm, squamous", "Endoscopy 2005;37:570", squamous, flat("1.3"), "examination.paris-height", true},
		{"0-IIa at 2 mm, Barrett", "columnar limit of 2.5 mm", squamous, func(r *report.Report) {
			flat("2")(r)
			exam(r).Mucosa = report.Barrett
		}, "examination.paris-height", false},

		{"SM1 at 499 µm, stomach", "JGES 2nd ed.: SM1 below 500", gastric, sm(report.PT1bSM1, 499), "histology.depth-against-step", false},
		{"SM1 at 500 µm, stomach", "JGES 2nd ed.: SM1 below 500", gastric, sm(report.PT1bSM1, 500), "histology.depth-against-step", true},
		{"SM2 at 500 µm, stomach", "JGES 2nd ed.: SM1 below 500", gastric, sm(report.PT1bSM2, 500), "histology.depth-against-step", false},
		{"SM1 at 200 µm, squamous", "Mini-invasive Surg 2021;5:36", squamous, sm(report.PT1bSM1, 200), "histology.depth-against-step", false},
		{"SM1 at 201 µm, squamous", "Mini-invasive Surg 2021;5:36", squamous, sm(report.PT1bSM1, 201), "histology.depth-against-step", true},
		{"SM3 at 200 µm, squamous", "Mini-invasive Surg 2021;5:36", squamous, sm(report.PT1bSM3, 200), "histology.depth-against-step", true},

		{"4 buds BD1", "ITBCC: BD1 0-4", colonic, buds(report.BD1, 4), "histology.budding-count-against-grade", false},
		{"5 buds BD2", "ITBCC: BD2 5-9", colonic, buds(report.BD2, 5), "histology.budding-count-against-grade", false},
		{"9 buds BD3", "ITBCC: BD2 5-9", colonic, buds(report.BD3, 9), "histology.budding-count-against-grade", true},
		{"10 buds BD3", "ITBCC: BD3 from 10", colonic, buds(report.BD3, 10), "histology.budding-count-against-grade", false},
		{"10 buds BD1 in another field", "other fields must be converted", colonic, func(r *report.Report) {
			buds(report.BD1, 10)(r)
			histo(r).BuddingFieldMm2 = num("0.95")
		}, "histology.budding-count-against-grade", false},

		{"defect of 74 per cent", "Korea 2020 E6: above 75; JES 2022: from three quarters", squamous, defect(74), "resection.stricture-prevention-missing", false},
		{"defect of 75 per cent", "JES 2022: from three quarters", squamous, defect(75), "resection.stricture-prevention-missing", true},
		{"lateral spreading at 10 mm", "Bogie, Endoscopy 2018: 10 mm or more", colonic, func(r *report.Report) { exam(r).SizeLongMm = report.Int(10) }, "examination.lst-too-small", false},
		{"cold snare at 5 mm in the duodenum", "ESGE 2021: below 6 mm", duodenal, coldSnare("5"), "resection.duodenal-cold-snare", false},
		{"cold snare at 6 mm in the duodenum", "ESGE 2021: below 6 mm", duodenal, coldSnare("6"), "resection.duodenal-cold-snare", true},
		{"muscle injury II left open", "Burgess 2017: I and II at discretion", gastric, func(r *report.Report) { resect(r).Muscle = report.MuscleInjuryII }, "resection.muscle-injury-open", false},

		{"warfarin at INR 3.0", "JGES 2017: no biopsy above 3.0", gastric, warfarinAt("3.0"), "before.inr-high-on-warfarin", false},
		{"warfarin at INR 3.1", "JGES 2017: no biopsy above 3.0", gastric, warfarinAt("3.1"), "before.inr-high-on-warfarin", true},
		{"warfarin stopped at INR 3.1", "the advice is on warfarin that goes on", gastric, func(r *report.Report) {
			warfarinAt("3.1")(r)
			drug(r).Management = report.Interrupted
		}, "before.inr-high-on-warfarin", false},
		{"pieces said to be unknown", "what is stated is not asked again", gastric, func(r *report.Report) { resect(r).Pieces = report.Absent(report.Unknown) }, "resection.pieces-missing", false},
		{"pieces of an abandoned resection", "none may have come out", gastric, func(r *report.Report) {
			resect(r).Pieces, resect(r).Completion = report.Number{}, report.CompletionAbandoned
		}, "resection.pieces-missing", false},
		{"depth of a neuroendocrine tumour", "its stage goes by size, not by µm", colonic, func(r *report.Report) {
			histo(r).Types, histo(r).PT, histo(r).DepthUm = []report.HistologyType{report.TypeNET}, report.PT1, report.Number{}
		}, "histology.depth-missing", false},
		{"depth of a carcinoma", "curability hangs on it", colonic, func(r *report.Report) {
			histo(r).Types, histo(r).PT, histo(r).DepthUm = []report.HistologyType{report.TypeAdenocarcinoma}, report.PT1, report.Number{}
		}, "histology.depth-missing", true},
		{"abandoned before the snare", "common practice, no source", gastric, func(r *report.Report) {
			resect(r).Technique, resect(r).Completion = report.HybridESD, report.CompletionAbandoned
		}, "resection.hybrid-without-snare", false},
		{"precut EMR cut all the way round", "the cut round is the technique", colonic, func(r *report.Report) {
			resect(r).Technique, resect(r).Incision = report.PrecutEMR, &report.Incision{Extent: report.Circumferential}
		}, "resection.circumferential-start", false},
		{"needle-type knife at 50 W", "common practice, no source: near 45", gastric, needleW(50, 3), "resection.watts-high-for-needle", false},
		{"needle-type knife at 80 W", "common practice, no source: near 45", gastric, needleW(80, 3), "resection.watts-high-for-needle", true},
		{"needle-type knife at 80 W, effect 1", "other effects are not comparable", gastric, needleW(80, 1), "resection.watts-high-for-needle", false},
		{"circumferential start in the stomach", "common practice, no source: usual there", gastric, func(*report.Report) {}, "resection.circumferential-start", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := copyOf(t, c.base(t))
			c.change(&r)
			require.Equal(t, c.speaks, has(ids(Check(r)), c.id), c.source)
		})
	}
}

func flat(height string) func(*report.Report) {
	return func(r *report.Report) {
		exam(r).Paris, exam(r).HeightMm = []report.ParisType{report.Paris0IIa}, num(height)
	}
}

func sm(pt report.PT, um int) func(*report.Report) {
	return func(r *report.Report) { histo(r).PT, histo(r).DepthUm = pt, report.Int(um) }
}

func buds(grade report.Budding, n int) func(*report.Report) {
	return func(r *report.Report) { histo(r).Budding, histo(r).BuddingCount = grade, report.Int(n) }
}

func defect(pct int) func(*report.Report) {
	return func(r *report.Report) {
		resect(r).DefectCircumferencePct, resect(r).StricturePrevention = report.Int(pct), ""
	}
}

func coldSnare(mm string) func(*report.Report) {
	return func(r *report.Report) { resect(r).Technique, exam(r).SizeLongMm = report.ColdSnare, num(mm) }
}

func warfarinAt(inr string) func(*report.Report) {
	return func(r *report.Report) {
		drug(r).Class, drug(r).Agent, drug(r).Management = report.Warfarin, report.AgentWarfarin, report.Continued
		r.Before.INR = num(inr)
	}
}

func needleW(watts, effect int) func(*report.Report) {
	return func(r *report.Report) {
		resect(r).Settings[1].MaxW, resect(r).Settings[1].Effect = report.Int(watts), report.Int(effect)
	}
}

// What is unknown is never negative: a report that says of every figure and
// every finding why it has none contradicts nothing.
func TestAbsenceContradictsNothing(t *testing.T) {
	t.Parallel()
	for _, a := range report.Absences {
		r := copyOf(t, gastric(t))
		n := report.Absent(a)
		e, rs, h := exam(&r), resect(&r), histo(&r)
		e.SizeLongMm, e.SizeShortMm, e.HeightMm, e.CircumferencePct = n, n, n, n
		e.NonExtension, e.Third, e.JNET, e.NICE = report.Sign(a), report.Third(a), report.JNET(a), report.NICE(a)
		rs.Pieces, rs.DefectCircumferencePct, rs.DefectLengthMm = n, n, n
		rs.Muscle, rs.BleedingOccurred, rs.VisibleResidual = report.MuscleInjury(a), report.Answer(a), report.Answer(a)
		h.DepthUm, h.HorizontalDistanceMm, h.VerticalDistanceUm, h.TumourLongMm = n, n, n, n
		h.PT, h.LymphaticInvasion, h.VenousInvasion, h.Budding = report.PT(a), report.Sign(a), report.Sign(a), report.Budding(a)
		r.Events[0].HbBeforeGDl, r.Events[0].UnplannedNights = n, n
		require.Empty(t, Check(r), a)
	}
}

// The zero documents are no valid ones, and no check panics on them.
func TestEmptyDocumentsPanicNothing(t *testing.T) {
	t.Parallel()
	require.NotPanics(t, func() {
		Check(report.Report{})
		Check(report.Report{Lesions: []report.Lesion{{Resection: &report.Resection{Technique: report.ESD}, Histology: &report.Histology{}}}})
		CheckHistology(report.HistologyPart{})
		CheckEvents(report.EventsPart{})
	})
}

func BenchmarkCheck(b *testing.B) {
	r := gastric(b)
	b.ReportAllocs()
	for b.Loop() {
		Check(r)
	}
}
