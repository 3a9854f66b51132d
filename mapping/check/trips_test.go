package check

import (
	"testing"

	"enbloc/mapping/report"
)

// trip changes one thing in a base so that one check speaks.
type trip struct {
	id     string
	base   func(testing.TB) report.Report
	change func(r *report.Report)
}

// Short ways into a base.
func exam(r *report.Report) *report.Examination    { return &r.Lesions[0].Examination }
func resect(r *report.Report) *report.Resection    { return r.Lesions[0].Resection }
func spec(r *report.Report) *report.Specimen       { return r.Lesions[0].Specimen }
func histo(r *report.Report) *report.Histology     { return r.Lesions[0].Histology }
func drug(r *report.Report) *report.Antithrombotic { return &r.Before.Antithrombotics[0] }
func event(r *report.Report) *report.Event         { return &r.Events[0] }

// clock is a time on the day of the session.
func clock(hhmm string) report.Time { return when("2026-03-10T" + hhmm + ":00+01:00") }

func when(s string) report.Time {
	t, err := report.ParseTime(s)
	if err != nil {
		panic(err)
	}
	return t
}

func num(text string) report.Number {
	n, err := report.NewNumber(text)
	if err != nil {
		panic(err)
	}
	return n
}

// second adds another lesion in the same organ, without resection.
func second(r *report.Report, number int) *report.Lesion {
	r.Lesions = append(r.Lesions, report.Lesion{Number: number, Examination: report.Examination{Organ: report.Stomach}})
	exam(r).Multiple = report.Yes
	return &r.Lesions[1]
}

// trips has at least one entry for every check that looks at a report.
var trips = []trip{
	{"envelope.signed-without-signer", gastric, func(r *report.Report) { r.Signer = nil }},
	{"envelope.signed-without-time", gastric, func(r *report.Report) { r.SignedAt = report.Time{} }},
	{"envelope.draft-signed", gastric, func(r *report.Report) { r.Status = report.Draft }},
	{"envelope.withdrawn-without-reason", gastric, func(r *report.Report) { r.Status = report.Withdrawn }},
	{"envelope.change-without-reason", gastric, func(r *report.Report) { r.Status, r.Revision = report.Corrected, 2 }},
	{"envelope.first-revision-changed", gastric, func(r *report.Report) { r.Status, r.StatusReason = report.Amended, "histology added" }},
	{"envelope.written-before-session", gastric, func(r *report.Report) { r.WrittenAt = clock("08:00") }},
	{"envelope.signed-before-written", gastric, func(r *report.Report) { r.SignedAt = clock("12:04") }},
	{"patient.age-implausible", gastric, func(r *report.Report) { r.Patient.AgeY = report.Int(7) }},
	{"patient.age-implausible", gastric, func(r *report.Report) { r.Patient.AgeY = report.Int(117) }},

	{"session.end-before-start", gastric, func(r *report.Report) { r.Session.End = clock("08:50") }},
	{"session.very-long", gastric, func(r *report.Report) { r.Session.End = clock("22:50") }},
	{"session.out-of-reach", gastric, func(r *report.Report) { r.Session.Kind = report.Colonoscopy }},
	{"session.out-of-reach", colonic, func(r *report.Report) { r.Session.Kind = report.Sigmoidoscopy }},
	{"session.air", gastric, func(r *report.Report) { r.Session.Gas = report.GasAir }},
	{"lesion.number-twice", gastric, func(r *report.Report) { second(r, 1) }},
	{"lesion.unknown-reference", gastric, func(r *report.Report) { r.Images[0].Lesion = 2 }},
	{"lesion.unknown-reference", gastric, func(r *report.Report) { r.Before.Earlier[0].Lesion = 2 }},
	{"lesion.unknown-reference", gastric, func(r *report.Report) { event(r).Lesion = 2 }},
	{"lesion.unknown-reference", gastric, func(r *report.Report) { r.Plan.FollowUps[0].Lesion = 2 }},
	{"lesion.unknown-reference", gastric, func(r *report.Report) { r.Plan.Referrals[0].Lesion = 2 }},
	{"lesion.several-though-single", gastric, func(r *report.Report) { second(r, 2); exam(r).Multiple = report.No }},

	{"before.none-taken-with-drugs", gastric, func(r *report.Report) { r.Before.AntithromboticHistory = report.HistoryNoneTaken }},
	{"before.complete-list-empty", gastric, func(r *report.Report) { r.Before.Antithrombotics = nil }},
	{"before.drug-twice", gastric, func(r *report.Report) { r.Before.Antithrombotics = append(r.Before.Antithrombotics, *drug(r)) }},
	{"before.agent-of-other-class", gastric, func(r *report.Report) { drug(r).Agent = report.AgentWarfarin }},
	{"before.interrupted-without-last-dose", gastric, func(r *report.Report) { drug(r).LastDose = report.Time{} }},
	{"before.last-dose-in-session", gastric, func(r *report.Report) { drug(r).LastDose = clock("09:06") }},
	{"before.replaced-without-replacement", gastric, func(r *report.Report) { drug(r).Management = report.Replaced }},
	{"before.replacement-though-not-replaced", gastric, func(r *report.Report) { drug(r).ReplacedBy = report.Cilostazol }},
	{"before.bridging-of-continued", gastric, func(r *report.Report) {
		drug(r).Management, drug(r).Bridging = report.Continued, report.BridgingHeparin
	}},
	{"before.bridging-of-antiplatelet", gastric, func(r *report.Report) { drug(r).Bridging = report.BridgingLMWH }},
	{"before.restart-before-session", gastric, func(r *report.Report) { drug(r).PlannedRestart = "2026-03-09" }},
	{"before.inr-missing", gastric, func(r *report.Report) {
		drug(r).Class, drug(r).Agent, r.Before.INR = report.Warfarin, report.AgentWarfarin, report.Number{}
	}},
	{"before.inr-high-on-warfarin", gastric, warfarinAt("3.1")},
	{"before.history-missing", gastric, func(r *report.Report) { r.Before.AntithromboticHistory = "" }},
	{"before.history-missing", gastric, func(r *report.Report) { r.Before.AntithromboticHistory = "unknown" }},
	{"before.dialysis-missing", gastric, func(r *report.Report) { r.Before.Haemodialysis = "unknown" }},
	{"before.implant-without-precaution", gastric, func(r *report.Report) { r.Before.Implant = report.ImplantPacemaker }},
	{"before.neutral-electrode-missing", gastric, func(r *report.Report) { r.Before.NeutralElectrodeSite = "" }},
	{"before.dose-missing", gastric, func(r *report.Report) { r.Before.Sedation.Drugs[0].DoseMg = report.Number{} }},
	{"before.dose-in-two-units", gastric, func(r *report.Report) { r.Before.Sedation.Drugs[1].DoseMg = num("0.05") }},
	{"before.sedation-none-with-drugs", gastric, func(r *report.Report) { r.Before.Sedation.Depth = report.SedationNone }},
	{"before.drug-after-session", gastric, func(r *report.Report) { r.Before.Sedation.Drugs[0].GivenAt = clock("21:02") }},
	{"before.boston-missing", colonic, func(r *report.Report) { r.Before.Boston = nil }},
	{"before.boston-out-of-context", gastric, func(r *report.Report) { r.Before.Boston = &report.Boston{Right: report.Int(3)} }},
	{"before.earlier-after-session", gastric, func(r *report.Report) { r.Before.Earlier[0].Date = "2027" }},
	{"before.earlier-ecura-elsewhere", colonic, func(r *report.Report) {
		r.Before.Earlier = []report.Earlier{{Lesion: 1, Kind: report.EarlierResection, ECura: report.EarlierECuraC1}}
	}},
	{"before.recurrence-without-resection", gastric, func(r *report.Report) { r.Before.Indication = report.IntentRecurrence }},

	{"examination.site-of-other-organ", gastric, func(r *report.Report) { exam(r).Site = report.SiteCaecum }},
	{"examination.curvature-elsewhere", colonic, func(r *report.Report) { exam(r).Wall = report.WallLesser }},
	{"examination.third-elsewhere", colonic, func(r *report.Report) { exam(r).Third = report.UpperThird }},
	{"examination.barrett-elsewhere", gastric, func(r *report.Report) { exam(r).PragueMCm = report.Int(3) }},
	{"examination.prague-m-below-c", squamous, func(r *report.Report) {
		exam(r).Mucosa, exam(r).PragueCCm, exam(r).PragueMCm = report.Barrett, report.Int(4), report.Int(2)
	}},
	{"examination.barrett-without-prague", squamous, func(r *report.Report) { exam(r).Mucosa = report.Barrett }},
	{"examination.distance-from-wrong-end", gastric, func(r *report.Report) { exam(r).DistanceAnalVergeCm = report.Int(12) }},
	{"examination.distance-from-wrong-end", colonic, func(r *report.Report) { exam(r).DistanceIncisorsCm = report.Int(40) }},
	{"examination.distance-implausible", squamous, func(r *report.Report) { exam(r).DistanceIncisorsCm = report.Int(290) }},
	{"examination.distance-implausible", colonic, func(r *report.Report) {
		exam(r).Organ, exam(r).Site, exam(r).DistanceAnalVergeCm = report.Rectum, report.SiteUpperRectum, report.Int(35)
	}},
	{"examination.papilla-elsewhere", gastric, func(r *report.Report) { exam(r).Papilla = report.Yes }},
	{"examination.circumference-contradiction", gastric, func(r *report.Report) { exam(r).Circumferential = report.Yes }},
	{"examination.circumference-contradiction", gastric, func(r *report.Report) {
		exam(r).CircumferencePct, resect(r).DefectCircumferencePct = report.Int(100), report.Int(100)
	}},

	{"size.short-exceeds-long", gastric, func(r *report.Report) { exam(r).SizeShortMm = report.Int(25) }},
	{"size.short-exceeds-long", gastric, func(r *report.Report) { spec(r).SizeShortMm = report.Int(35) }},
	{"size.looks-like-centimetres", gastric, func(r *report.Report) { exam(r).SizeLongMm = num("2.2") }},
	{"size.looks-like-centimetres", gastric, func(r *report.Report) { spec(r).SizeLongMm = num("3.4") }},
	{"size.looks-like-centimetres", gastric, func(r *report.Report) { histo(r).TumourLongMm = num("2.1") }},
	{"size.tumour-short-exceeds-long", gastric, func(r *report.Report) { histo(r).TumourShortMm = report.Int(22) }},
	{"size.tumour-exceeds-specimen", gastric, func(r *report.Report) { histo(r).TumourLongMm = report.Int(40) }},
	{"size.pathology-differs", gastric, func(r *report.Report) { histo(r).TumourLongMm = report.Int(11) }},
	{"specimen.smaller-than-lesion", gastric, func(r *report.Report) { spec(r).SizeLongMm = report.Int(20) }},
	{"specimen.smaller-than-lesion", gastric, func(r *report.Report) { spec(r).SizeShortMm = report.Int(14) }},
	{"resection.defect-smaller-than-lesion", gastric, func(r *report.Report) { resect(r).DefectCircumferencePct = report.Int(10) }},
	{"resection.defect-smaller-than-lesion", gastric, func(r *report.Report) { exam(r).AxialLengthMm = report.Int(36) }},

	{"examination.paris-pedunculated-mix", gastric, func(r *report.Report) { exam(r).Paris = []report.ParisType{report.Paris0Ip, report.Paris0IIc} }},
	{"examination.paris-pedicle", gastric, func(r *report.Report) { exam(r).Pedicle = report.Yes }},
	{"examination.paris-pedicle", gastric, func(r *report.Report) { exam(r).Paris = []report.ParisType{report.Paris0Ip} }},
	{"examination.paris-height", gastric, func(r *report.Report) { exam(r).Paris = []report.ParisType{report.Paris0Is} }},
	{"examination.paris-height", squamous, func(r *report.Report) {
		exam(r).Paris, exam(r).HeightMm = []report.ParisType{report.Paris0IIa}, num("1.5")
	}},
	{"examination.paris-height-at-limit", gastric, func(r *report.Report) {
		exam(r).Paris, exam(r).HeightMm = []report.ParisType{report.Paris0IIa}, num("2.5")
	}},
	{"examination.colorectal-class-elsewhere", gastric, func(r *report.Report) { exam(r).JNET = report.JNET2B }},
	{"examination.colorectal-class-elsewhere", gastric, func(r *report.Report) { exam(r).NICE = report.NICE2 }},
	{"examination.colorectal-class-elsewhere", squamous, func(r *report.Report) { exam(r).Kudo = []report.Kudo{report.KudoIV} }},
	{"examination.colorectal-class-elsewhere", duodenal, func(r *report.Report) { exam(r).LST = report.LSTGranularMixed }},
	{"examination.lst-too-small", colonic, func(r *report.Report) { exam(r).SizeLongMm = report.Int(9) }},
	{"examination.lst-pedunculated", colonic, func(r *report.Report) { exam(r).Paris = []report.ParisType{report.Paris0Ip} }},
	{"examination.nice-against-jnet", colonic, func(r *report.Report) { exam(r).NICE = report.NICE1 }},
	{"examination.jnet-against-pattern", colonic, func(r *report.Report) { exam(r).JNETVessel = report.VesselLoose }},
	{"examination.jnet-against-pattern", colonic, func(r *report.Report) { exam(r).JNETSurface = report.SurfaceAmorphous }},
	{"examination.non-extension-elsewhere", colonic, func(r *report.Report) { exam(r).NonExtension = report.Negative }},
	{"examination.non-extension-insufflation", gastric, func(r *report.Report) { exam(r).FullInsufflation = report.No }},
	{"examination.non-extension-uncommented", gastric, func(r *report.Report) { exam(r).NonExtension, r.Before.TechniqueReason = report.Positive, "" }},
	{"examination.deep-class-uncommented", colonic, func(r *report.Report) {
		exam(r).Kudo, r.Before.TechniqueReason = []report.Kudo{report.KudoVN}, ""
	}},
	{"examination.non-lifting-uncommented", colonic, func(r *report.Report) { exam(r).NonLifting, r.Before.TechniqueReason = report.Positive, "" }},
	{"examination.squamous-depth-elsewhere", gastric, func(r *report.Report) { exam(r).PredictedDepth = report.PredictMMSM1 }},

	{"resection.phase-end-before-start", gastric, func(r *report.Report) { resect(r).Phases[0].End = clock("09:13") }},
	{"resection.bleeding-end-before-start", gastric, func(r *report.Report) { resect(r).Bleeding[0].End = clock("09:40") }},
	{"resection.closure-end-before-start", gastric, func(r *report.Report) {
		resect(r).Closure = &report.Closure{Result: report.ClosureComplete, Start: clock("10:40"), End: clock("10:35")}
	}},
	{"resection.base-end-before-start", gastric, func(r *report.Report) { resect(r).Base.End = clock("10:21") }},
	{"resection.outside-session", gastric, func(r *report.Report) { resect(r).Phases[4].End = clock("10:51") }},
	{"resection.outside-session", gastric, func(r *report.Report) { resect(r).Vessels[0].At = clock("08:51") }},
	{"resection.outside-session", gastric, func(r *report.Report) { resect(r).Injections[0].GivenAt = clock("08:51") }},
	{"resection.dissection-before-incision", gastric, func(r *report.Report) { resect(r).Phases[3].Start = clock("09:20") }},

	{"resection.pieces-against-containers", gastric, func(r *report.Report) { spec(r).Containers[0].Pieces = report.Int(2) }},
	{"resection.pieces-against-containers", gastric, func(r *report.Report) { resect(r).Pieces, histo(r).HorizontalMargin = report.Int(3), "" }},
	{"resection.pieces-missing", gastric, func(r *report.Report) { resect(r).Pieces = report.Number{} }},
	{"resection.complete-with-residual", gastric, func(r *report.Report) { resect(r).VisibleResidual = report.Yes }},
	{"resection.stopped-without-reason", gastric, func(r *report.Report) { resect(r).Completion = report.CompletionPartial }},
	{"resection.stop-reason-though-complete", gastric, func(r *report.Report) { resect(r).StopReason = report.StopTime }},
	{"resection.change-of-technique-unexplained", gastric, func(r *report.Report) { resect(r).Planned = report.EMR }},
	{"resection.knife-without-dissection", colonic, func(r *report.Report) { resect(r).Knives = []report.Instrument{report.KnifeNeedle} }},
	{"resection.dissection-without-knife", gastric, func(r *report.Report) {
		resect(r).Knives, resect(r).Settings = []report.Instrument{report.HaemoForceps}, nil
	}},
	{"resection.hybrid-without-snare", gastric, func(r *report.Report) { resect(r).Technique = report.HybridESD }},
	{"resection.snare-in-esd", gastric, func(r *report.Report) { resect(r).Knives = append(resect(r).Knives, report.Snare) }},
	{"resection.current-with-cold-snare", colonic, func(r *report.Report) {
		resect(r).Technique, resect(r).Settings = report.ColdSnare, []report.Setting{{Step: report.StepSnaring, Instrument: report.Snare}}
	}},
	{"resection.circumferential-start", colonic, func(r *report.Report) { resect(r).Injections[0].Extent = report.Circumferential }},
	{"resection.circumferential-start", colonic, func(r *report.Report) { resect(r).Incision = &report.Incision{Extent: report.Circumferential} }},
	{"resection.duodenal-esd", duodenal, func(r *report.Report) {
		resect(r).Technique, resect(r).Knives = report.ESD, []report.Instrument{report.KnifeNeedle}
	}},
	{"resection.duodenal-cold-snare", duodenal, func(r *report.Report) { resect(r).Technique = report.ColdSnare }},

	{"resection.watts-high-for-needle", gastric, func(r *report.Report) { resect(r).Settings[1].MaxW = report.Int(90) }},
	{"resection.watts-low-for-insulated-tip", gastric, func(r *report.Report) { resect(r).Settings[2].MaxW = report.Int(45) }},
	{"resection.setting-of-unlisted-knife", gastric, func(r *report.Report) { resect(r).Settings[0].Instrument = report.KnifeHook }},
	{"resection.large-vessel-cut", gastric, func(r *report.Report) { resect(r).Vessels[0].When = report.CutWithoutCoag }},
	{"resection.base-not-coagulated", gastric, func(r *report.Report) { resect(r).Base = nil }},
	{"resection.base-not-coagulated", gastric, func(r *report.Report) { resect(r).Base.Done = report.No }},
	{"resection.bleeding-denied", gastric, func(r *report.Report) { resect(r).BleedingOccurred = report.No }},
	{"resection.muscle-injury-open", gastric, func(r *report.Report) { resect(r).Muscle = report.MuscleInjuryIII }},
	{"resection.hole-without-event", gastric, func(r *report.Report) { resect(r).Muscle = report.MuscleInjuryIV }},
	{"resection.open-with-clips", gastric, func(r *report.Report) { resect(r).Closure.Clips = report.Int(3) }},
	{"resection.open-with-clips", gastric, func(r *report.Report) { resect(r).Closure.Means = []report.ClosureMean{report.CloseOTSC} }},
	{"resection.closure-phase-without-closure", gastric, func(r *report.Report) { resect(r).Phases[4].Step = report.StepClosure }},
	{"resection.stricture-prevention-missing", squamous, func(r *report.Report) {
		resect(r).DefectCircumferencePct, resect(r).StricturePrevention = report.Int(75), ""
	}},

	{"specimen.before-session", gastric, func(r *report.Report) { spec(r).FixedAt = when("2026-03-09T10:55:00+01:00") }},
	{"specimen.before-session", gastric, func(r *report.Report) { spec(r).Containers[0].ReceivedAt = clock("07:00") }},
	{"specimen.fixed-before-pinned", gastric, func(r *report.Report) { spec(r).FixedAt = clock("10:45") }},
	{"specimen.not-pinned", gastric, func(r *report.Report) { spec(r).Pinned = report.No }},
	{"specimen.lost-though-measured", gastric, func(r *report.Report) { spec(r).Retrieved = report.No }},
	{"specimen.container-twice", gastric, func(r *report.Report) { spec(r).Containers = append(spec(r).Containers, spec(r).Containers[0]) }},
	{"specimen.accession-of-two-lesions", gastric, func(r *report.Report) {
		accession := *spec(r).Containers[0].Accession
		second(r, 2).Specimen = &report.Specimen{Containers: []report.Container{{Accession: &accession}}}
	}},

	{"histology.before-session", gastric, func(r *report.Report) { histo(r).IssuedAt = when("2026-02-19T10:00:00+01:00") }},
	{"histology.foreign-accession", gastric, func(r *report.Report) { histo(r).Accession.Value = "HTEST-A-0002" }},
	{"histology.depth-though-intramucosal", gastric, func(r *report.Report) { histo(r).PT = report.PT1a }},
	{"histology.depth-missing", gastric, func(r *report.Report) { histo(r).DepthUm = report.Number{} }},
	{"histology.depth-against-step", gastric, func(r *report.Report) { histo(r).DepthUm = report.Int(500) }},
	{"histology.depth-against-step", gastric, func(r *report.Report) { histo(r).PT, histo(r).DepthUm = report.PT1bSM2, report.Int(499) }},
	{"histology.depth-against-step", squamous, func(r *report.Report) { histo(r).DepthUm = report.Int(201) }},
	{"histology.pt-of-other-organ", gastric, func(r *report.Report) { histo(r).PT = report.PT1aLPM }},
	{"histology.pt-of-other-organ", colonic, func(r *report.Report) { histo(r).PT = report.PT1b }},
	{"histology.type-of-other-organ", gastric, func(r *report.Report) { histo(r).Types[0] = report.TypeSCC }},
	{"histology.positive-margin-with-distance", gastric, func(r *report.Report) { histo(r).HorizontalMargin = report.Positive }},
	{"histology.positive-margin-with-distance", gastric, func(r *report.Report) { histo(r).VerticalMargin = report.Positive }},
	{"histology.negative-margin-at-zero", gastric, func(r *report.Report) { histo(r).VerticalDistanceUm = report.Int(0) }},
	{"histology.clear-margin-piecemeal", gastric, func(r *report.Report) { resect(r).Pieces, spec(r).Containers[0].Pieces = report.Int(2), report.Int(2) }},
	{"histology.invasion-contradiction", gastric, func(r *report.Report) { histo(r).Lymphovascular = report.Positive }},
	{"histology.invasion-contradiction", gastric, func(r *report.Report) {
		histo(r).LymphaticInvasion, histo(r).Lymphovascular = report.Positive, report.Negative
	}},
	{"histology.benign-though-invasive", gastric, func(r *report.Report) { histo(r).Types = []report.HistologyType{report.TypeAdenoma} }},
	{"histology.no-neoplasia-with-tumour", gastric, func(r *report.Report) { histo(r).Types = append(histo(r).Types, report.TypeNoNeoplasia) }},
	{"histology.grade-order", gastric, func(r *report.Report) { histo(r).Grade = report.GradePoor }},
	{"histology.undifferentiated-contradiction", gastric, func(r *report.Report) { histo(r).Types = append(histo(r).Types, report.TypeSig) }},
	{"histology.undifferentiated-contradiction", gastric, func(r *report.Report) { histo(r).Undifferentiated.Present = report.Yes }},
	{"histology.undifferentiated-size-missing", gastric, func(r *report.Report) { histo(r).Undifferentiated.Present = report.Yes }},
	{"histology.undifferentiated-elsewhere", colonic, func(r *report.Report) { histo(r).Undifferentiated = &report.Undifferentiated{Present: report.No} }},
	{"histology.budding-count-against-grade", colonic, func(r *report.Report) { histo(r).Budding, histo(r).BuddingCount = report.BD1, report.Int(5) }},
	{"histology.budding-elsewhere", gastric, func(r *report.Report) { histo(r).Budding = report.BD1 }},
	{"histology.stalk-base-line", gastric, func(r *report.Report) { histo(r).DepthFrom = report.FromStalkBoundary }},
	{"histology.ulcer-differs", gastric, func(r *report.Report) { histo(r).Ulcer = report.UlcerScar }},

	{"event.id-twice", gastric, func(r *report.Report) { r.Events = append(r.Events, *event(r)) }},
	{"event.before-session", gastric, func(r *report.Report) { event(r).OccurredAt = when("2026-03-09T21:00:00+01:00") }},
	{"event.timing-contradiction", gastric, func(r *report.Report) { event(r).Timing = report.DuringSession }},
	{"event.timing-contradiction", gastric, func(r *report.Report) { event(r).OccurredAt = clock("10:00") }},
	{"event.order-of-times", gastric, func(r *report.Report) { event(r).RecognisedAt = when("2026-03-12T20:59:00+01:00") }},
	{"event.order-of-times", gastric, func(r *report.Report) { event(r).RecordedAt = when("2026-03-12T21:10:00+01:00") }},
	{"event.intervention-before-event", gastric, func(r *report.Report) { event(r).Interventions[0].At = clock("22:10") }},
	{"event.hb-rises-in-bleeding", gastric, func(r *report.Report) { event(r).HbAfterGDl = num("14.1") }},
	{"event.hb-rises-in-bleeding", gastric, func(r *report.Report) {
		event(r).HbAfterGDl, event(r).Transfusion, event(r).TransfusionUnits = num("14.1"), report.Yes, report.Int(2)
	}},
	{"event.units-without-transfusion", gastric, func(r *report.Report) { event(r).TransfusionUnits = report.Int(2) }},
	{"event.intervention-denied", gastric, func(r *report.Report) { event(r).InterventionNeeded = report.No }},
	{"event.icu-exceeds-stay", gastric, func(r *report.Report) { event(r).ICUNights = report.Int(3) }},
	{"event.nights-against-hours", gastric, func(r *report.Report) { event(r).AdmissionH = report.Int(23) }},
	{"event.death-not-fatal", gastric, func(r *report.Report) { event(r).Kind = report.EventDeath }},
	{"event.aborted-after-session", gastric, func(r *report.Report) { event(r).ProcedureAborted = report.Yes }},

	{"plan.follow-up-reversed", gastric, func(r *report.Report) { r.Plan.FollowUps[0].Latest = "2026-08-31" }},
	{"plan.follow-up-before-session", gastric, func(r *report.Report) { r.Plan.FollowUps[0].Latest = "2025" }},
	{"plan.restart-of-unlisted-drug", gastric, func(r *report.Report) { r.Plan.AntithromboticPlan[0].Class = report.Warfarin }},
	{"plan.restart-missing", gastric, func(r *report.Report) { drug(r).PlannedRestart, r.Plan.AntithromboticPlan = "", nil }},
	{"plan.h-pylori-open", gastric, func(r *report.Report) { r.Plan.HPylori = "" }},
	{"plan.eradication-of-nothing", gastric, func(r *report.Report) { r.Before.HPylori = report.HPyloriNegative }},
	{"image.before-session", gastric, func(r *report.Report) { r.Images[0].TakenAt = clock("08:10") }},
}
