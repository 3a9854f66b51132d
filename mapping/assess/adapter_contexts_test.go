package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"enbloc/mapping/assess/stats"
	"enbloc/mapping/report"
)

// contexts says for each rule what its cases take for granted and where each
// field of a case goes.
var contexts = map[string]context{
	"R1.gastric.histology_group.jgca6": {start: gastricSpecimenCase, fields: map[string]setter{
		"type": histologyType,
		"in_sm_invasive_part": flag(func(c *caseReport, is bool) {
			c.histology().PT = report.PT1a
			if is {
				c.histology().PT = report.PT1b
			}
		}),
		"scar": word(map[string]func(*caseReport){
			"biopsy-or-ulcer-indistinguishable": func(c *caseReport) { c.histology().Ulcer = report.UlcerEither },
			"biopsy":                            func(c *caseReport) { c.histology().Ulcer = report.UlcerBiopsyScar },
			"ulcer":                             func(c *caseReport) { c.histology().Ulcer = report.UlcerScar },
		}),
	}},
	"R1.gastric.indication.esge2015": {start: gastricLesion, fields: map[string]setter{
		"depth": clinicalDepthWord, "histology": biopsyGroup, "size_mm": clinicalSize, "ul": clinicalUlcer,
		"sm_um": numberOrNull(func(c *caseReport) *report.Number { return &c.seen().PredictedSMUm }),
	}},
	"R1.gastric.indication.jges2020": {start: gastricLesion, fields: map[string]setter{
		"depth": clinicalDepthWord, "recurrence_depth": clinicalDepthWord, "histology": biopsyGroup, "size_mm": clinicalSize, "ul": clinicalUlcer,
		"local_recurrence_after_eCuraC1": flag(func(c *caseReport, is bool) {
			if is {
				earlier(c).LocalRecurrence, earlier(c).ECura = report.Yes, report.EarlierECuraC1
			}
		}),
		"initial_indication": word(map[string]func(*caseReport){
			"absolute": func(c *caseReport) { earlier(c).Indication = report.EarlierAbsolute },
			"expanded": func(c *caseReport) { earlier(c).Indication = report.EarlierExpanded },
			"relative": func(c *caseReport) { earlier(c).Indication = report.EarlierRelative },
		}),
	}},
	"R1.gastric.indication.korea2020": {start: gastricLesion, fields: map[string]setter{
		"depth": clinicalDepthWord, "histology": biopsyGroup, "size_mm": clinicalSize, "ul": clinicalUlcer,
	}},
	"R2.gastric.curability.ecura": {start: gastricSpecimenCase, fields: map[string]setter{
		"depth": japaneseDepth, "dominant": dominant, "en_bloc": enBloc, "hm": hm, "vm": vm, "ly": ly, "v": venous,
		"size_mm": mapSize, "sm_um": depthUm, "ul": pathologicalUlcer,
		"undiff_component_mm": partSize, "undiff_in_sm": partInSubmucosa,
	}},
	"R2.gastric.curability.esge2022": {start: gastricSpecimenCase, fields: map[string]setter{
		"depth": europeanDepth, "en_bloc": enBloc, "grade": grade, "hm": hm, "vm": vm, "lvi": lvi,
		"organ": organIs("stomach", report.Stomach), "size_mm": mapSize, "sm_um": depthUm, "ulcer": pathologicalUlcer,
	}},
	"R3.gastric.lnm.ecura_score": {start: c2Specimen, fields: map[string]setter{
		"ly": ly, "v": venous, "vm": vm, "size_mm": mapSize, "sm_um": depthUm,
	}},
	"R4.bleed.bestj": {start: drugsKnown(report.Stomach, report.ESD), fields: map[string]setter{
		"warfarin": drugState(report.Warfarin), "doac": drugState(report.DOAC), "p2y12": drugState(report.P2Y12),
		"aspirin": drugState(report.Aspirin), "cilostazol": drugState(report.Cilostazol),
		"haemodialysis": yesNo(func(c *caseReport) *report.Answer { return &c.Before.Haemodialysis }),
		"multiple":      yesNo(func(c *caseReport) *report.Answer { return &c.seen().Multiple }),
		"size_mm":       clinicalSize,
		"lower_third": flag(func(c *caseReport, is bool) {
			c.seen().Third = report.MiddleThird
			if is {
				c.seen().Third = report.LowerThird
			}
		}),
	}},
	"R4.bleed.limoges": {start: drugsKnown(report.Colon, report.ESD), fields: map[string]setter{
		"age": age, "asa": asaClass, "antithrombotic": takes(report.Aspirin), "size_mm": clinicalSize,
		"rectum": flag(func(c *caseReport, is bool) {
			if is {
				c.seen().Organ = report.Rectum
			}
		}),
	}},
	"R4.bleed.debe": {start: drugsKnown(report.Colon, report.ESD), fields: map[string]setter{
		"age": age, "asa": asaClass, "size_mm": clinicalSize, "anticoagulant": takes(report.Warfarin), "antiplatelet": takes(report.Aspirin),
		"site": word(map[string]func(*caseReport){
			"proximal": func(c *caseReport) { c.seen().Site = report.SiteAscending },
			"distal":   func(c *caseReport) { c.seen().Site = report.SiteSigmoid },
			"rectum":   func(c *caseReport) { c.seen().Organ = report.Rectum },
		}),
	}},
	"R4.bleed.gseed_re": {start: drugsKnown(report.Colon, report.EMR), fields: map[string]setter{
		"age": age, "asa": asaClass, "size_mm": clinicalSize, "aspirin": takes(report.Aspirin),
		"right_sided": flag(func(c *caseReport, is bool) {
			c.seen().Site = report.SiteSigmoid
			if is {
				c.seen().Site = report.SiteAscending
			}
		}),
		"closed": flag(func(c *caseReport, is bool) {
			c.resection().Closure = &report.Closure{Result: report.ClosureNone}
			if is {
				c.resection().Closure.Result = report.ClosureComplete
			}
		}),
	}},
	"R5.oeso.eac.curability": {start: barrettCase, fields: map[string]setter{
		"depth": europeanDepth, "grade": grade, "lvi": lvi, "size_mm": mapSize, "sm_um": depthUm,
	}},
	"R5.oeso.scc.curability.esge2022": {start: squamousCase, fields: map[string]setter{
		"depth": squamousDepth, "grade": grade, "lvi": lvi, "en_bloc": enBloc,
		"r0": flag(func(c *caseReport, is bool) {
			if !is {
				c.histology().HorizontalMargin = report.Positive
			}
		}),
	}},
	"R5.oeso.scc.curability.jes": {start: squamousCase, fields: map[string]setter{"depth": squamousDepth, "lvi": lvi, "sm_um": depthUm}},
	"R5.oeso.scc.curability.korea2020": {start: squamousCase, fields: map[string]setter{
		"depth": squamousDepth, "lvi": lvi, "en_bloc_complete": enBloc,
	}},
	"R5.oeso.scc.indication.jes": {start: squamousSeen, fields: map[string]setter{
		"circumferential": yesNo(func(c *caseReport) *report.Answer { return &c.seen().Circumferential }),
		"length_mm":       number(func(c *caseReport) *report.Number { return &c.seen().AxialLengthMm }),
		"depth": word(map[string]func(*caseReport){
			"EP/LPM": func(c *caseReport) { c.seen().PredictedDepth = report.PredictT1aEPLPM },
			"MM/SM1": func(c *caseReport) { c.seen().PredictedDepth = report.PredictMMSM1 },
			"SM2":    func(c *caseReport) { c.seen().PredictedDepth = report.PredictT1bSM2 },
		}),
		"n": word(map[string]func(*caseReport){
			"N0": func(c *caseReport) { c.seen().ClinicalN = report.ClinicalN0 },
			"N1": func(c *caseReport) { c.seen().ClinicalN = report.ClinicalNPresent },
		}),
	}},
	"R5.oeso.stricture.korea2020": {start: squamousCase, fields: map[string]setter{
		"defect_circumference_pct": number(func(c *caseReport) *report.Number { return &c.resection().DefectCircumferencePct }),
	}},
	"R6.colorectal.budding": {start: colonT1, fields: map[string]setter{
		"buds":      number(func(c *caseReport) *report.Number { return &c.histology().BuddingCount }),
		"field_mm2": number(func(c *caseReport) *report.Number { return &c.histology().BuddingFieldMm2 }),
	}},
	"R6.colorectal.jnet": {start: colonSeen, fields: map[string]setter{
		"vessel": word(map[string]func(*caseReport){
			"invisible":                          func(c *caseReport) { c.seen().JNETVessel = report.VesselInvisible },
			"regular":                            func(c *caseReport) { c.seen().JNETVessel = report.VesselRegular },
			"variable, irregular distribution":   func(c *caseReport) { c.seen().JNETVessel = report.VesselVariable },
			"loose or interrupted thick vessels": func(c *caseReport) { c.seen().JNETVessel = report.VesselLoose },
		}),
		"surface": word(map[string]func(*caseReport){
			"regular spots":                      func(c *caseReport) { c.seen().JNETSurface = report.SurfaceSpots },
			"regular tubular/branched/papillary": func(c *caseReport) { c.seen().JNETSurface = report.SurfaceRegular },
			"irregular or obscure":               func(c *caseReport) { c.seen().JNETSurface = report.SurfaceIrregular },
			"amorphous":                          func(c *caseReport) { c.seen().JNETSurface = report.SurfaceAmorphous },
		}),
	}},
	"R6.colorectal.nice": {start: colonSeen, fields: map[string]setter{
		"nice": word(map[string]func(*caseReport){
			"1": func(c *caseReport) { c.seen().NICE = "1" }, "2": func(c *caseReport) { c.seen().NICE = "2" }, "3": func(c *caseReport) { c.seen().NICE = "3" },
		}),
	}},
	"R6.colorectal.smsa": {start: colonSeen, fields: map[string]setter{
		"size_mm": clinicalSize,
		"morphology": word(map[string]func(*caseReport){
			"pedunculated": func(c *caseReport) { c.seen().Paris = []report.ParisType{report.Paris0Ip} },
			"sessile":      func(c *caseReport) { c.seen().Paris = []report.ParisType{report.Paris0Is} },
			"flat":         func(c *caseReport) { c.seen().Paris = []report.ParisType{report.Paris0IIa} },
		}),
		"site": word(map[string]func(*caseReport){
			"left": func(c *caseReport) { c.seen().Site = report.SiteSigmoid }, "right": func(c *caseReport) { c.seen().Site = report.SiteAscending },
		}),
		"access": word(map[string]func(*caseReport){
			"easy": func(c *caseReport) { c.seen().Access = report.AccessEasy }, "difficult": func(c *caseReport) { c.seen().Access = report.AccessDifficult },
		}),
	}, figureFields: []string{"total_points"}, figures: func(in numbers) (map[string]any, error) {
		points := in["total_points"]
		if points != math.Trunc(points) || points < 4 || points > 17 {
			return nil, fmt.Errorf("no SMSA score has %v points", points)
		}
		return map[string]any{"points": points, "level": bandOf(int(points), smsaLevels).group}, nil
	}},
	"R6.colorectal.t1.esge2022": {start: colonT1, fields: map[string]setter{
		"depth": europeanDepth, "en_bloc": enBloc, "grade": grade, "hm": hm, "vm": vm, "lvi": lvi, "sm_um": depthUm,
		"organ": organIs("colorectum", report.Colon), "budding": buddingNumber,
	}},
	"R6.colorectal.t1.jsccr": {start: colonT1, fields: map[string]setter{
		"vm": vm, "sm_um": depthUm, "lvi": lvi,
		"budding": word(map[string]func(*caseReport){
			"BD1": func(c *caseReport) { c.histology().Budding = report.BD1 }, "BD2": func(c *caseReport) { c.histology().Budding = report.BD2 },
			"BD3": func(c *caseReport) { c.histology().Budding = report.BD3 },
		}),
		"worst_type": word(map[string]func(*caseReport){
			"tub": func(c *caseReport) { c.histology().WorstGrade = report.GradeModerate },
			"por": func(c *caseReport) { c.histology().WorstGrade = report.GradePoor },
			"muc": func(c *caseReport) { c.histology().Types = append(c.histology().Types, report.TypeMuc) },
			"sig": func(c *caseReport) { c.histology().Types = append(c.histology().Types, report.TypeSig) },
		}),
	}},
	"R7.duodenum.esge2021": {start: func() *caseReport { return blank(report.Duodenum) }, fields: map[string]setter{
		"size_mm":   clinicalSize,
		"malignant": yesNo(func(c *caseReport) *report.Answer { return &c.seen().SuspectMalignant }),
		"ampullary": yesNo(func(c *caseReport) *report.Answer { return &c.seen().Papilla }),
	}},
	"R8.colorectal.lst_smi": {start: colonSeen, fields: map[string]setter{
		"lst": word(map[string]func(*caseReport){
			"granular homogeneous":         func(c *caseReport) { c.seen().LST = report.LSTGranularHomogeneous },
			"granular nodular mixed":       func(c *caseReport) { c.seen().LST = report.LSTGranularMixed },
			"non-granular flat elevated":   func(c *caseReport) { c.seen().LST = report.LSTFlatElevated },
			"non-granular pseudodepressed": func(c *caseReport) { c.seen().LST = report.LSTPseudodepressed },
		}),
	}},
	"R8.gastric.nes": {start: func() *caseReport { return blank(report.Stomach) }, fields: map[string]setter{
		"nes": flag(func(c *caseReport, is bool) {
			c.seen().NonExtension = report.Negative
			if is {
				c.seen().NonExtension = report.Positive
			}
		}),
	}, figureFields: []string{"tp", "fp", "fn", "tn"}, figures: twoByTwo},
	"R8.gastric.vs": {start: func() *caseReport { return blank(report.Stomach) }, fields: map[string]setter{
		"demarcation_line": yesNo(func(c *caseReport) *report.Answer { return &c.seen().Demarcation }),
		"mv":               pattern(func(c *caseReport) *report.Pattern { return &c.seen().MicroVessel }),
		"ms":               pattern(func(c *caseReport) *report.Pattern { return &c.seen().MicroSurf }),
	}},
	"R8.morph.paris": {start: colonSeen, fields: map[string]setter{
		"height_mm": number(func(c *caseReport) *report.Number { return &c.seen().HeightMm }),
		"pedicle":   yesNo(func(c *caseReport) *report.Answer { return &c.seen().Pedicle }),
		"organ": word(map[string]func(*caseReport){
			"colon": func(*caseReport) {}, "stomach": func(c *caseReport) { c.seen().Organ = report.Stomach },
			"squamous oesophagus": func(c *caseReport) { c.seen().Organ, c.seen().Mucosa = report.Oesophagus, report.Squamous },
		}),
	}},
	"R9.ae.agree2022": {start: uneventful(report.EventOther, report.Stomach), fields: map[string]setter{
		"admission_h":               number(func(c *caseReport) *report.Number { return &c.event().AdmissionH }),
		"extended_observation_h":    number(func(c *caseReport) *report.Number { return &c.event().ObservationH }),
		"organ_failures":            number(func(c *caseReport) *report.Number { return &c.event().OrganFailures }),
		"transfusion":               yesNo(func(c *caseReport) *report.Answer { return &c.event().Transfusion }),
		"surgery":                   needed(report.InterveneSurgery),
		"endoscopic_reintervention": needed(report.InterveneHaemostasis),
		"contact": word(map[string]func(*caseReport){
			"phone-call-only":  func(c *caseReport) { c.event().UnplannedContact = report.ContactPhone },
			"outpatient-visit": func(c *caseReport) { c.event().UnplannedContact = report.ContactClinic },
		}),
		"emergency_visit": flag(func(c *caseReport, is bool) {
			if is {
				c.event().UnplannedContact = report.ContactEmergency
			}
		}),
		"death": flag(func(c *caseReport, is bool) {
			if is {
				c.event().Outcome = report.OutcomeFatal
			}
		}),
		"icu": flag(func(c *caseReport, is bool) {
			if is {
				c.event().ICUNights = report.Int(1)
			}
		}),
		"intervention": flag(func(c *caseReport, is bool) {
			c.finally(func(c *caseReport) error {
				if is && len(c.event().Interventions) == 0 {
					c.event().InterventionNeeded = report.Yes // needed, and not said which
				}
				return nil
			})
		}),
	}},
	"R9.ae.asge2010": {start: uneventful(report.EventOther, report.Stomach), fields: map[string]setter{
		"unplanned_nights":                      number(func(c *caseReport) *report.Number { return &c.event().UnplannedNights }),
		"icu_nights":                            number(func(c *caseReport) *report.Number { return &c.event().ICUNights }),
		"transfusion":                           yesNo(func(c *caseReport) *report.Answer { return &c.event().Transfusion }),
		"permanent_disability":                  yesNo(func(c *caseReport) *report.Answer { return &c.event().PermanentDisability }),
		"procedure_aborted":                     yesNo(func(c *caseReport) *report.Answer { return &c.event().ProcedureAborted }),
		"surgery":                               needed(report.InterveneSurgery),
		"endoscopic_or_radiologic_intervention": needed(report.InterveneRadiology),
	}},
	"R9.ae.delayed_bleed_window": {start: uneventful(report.EventBleeding, report.Stomach), fields: map[string]setter{
		"day": whole(func(c *caseReport, n int) { c.event().OccurredAt = moment(time.Duration(n) * 24 * time.Hour) }),
		"clinical_bleed": flag(func(c *caseReport, is bool) {
			c.event().Symptoms = []report.Symptom{}
			if is {
				c.event().Symptoms = []report.Symptom{report.Melaena}
			}
		}),
		"emergency_endoscopy": yesNo(func(c *caseReport) *report.Answer { return &c.event().EmergencyEndoscopy }),
	}},
	"R9.ae.pecs": {start: uneventful(report.EventCoagulation, report.Colon), fields: map[string]setter{
		"crp_mg_dl":        number(func(c *caseReport) *report.Number { return &c.event().CRPMgDl }),
		"temp_c":           number(func(c *caseReport) *report.Number { return &c.event().TempC }),
		"wbc":              number(func(c *caseReport) *report.Number { return &c.event().WBCPerUl }),
		"local_tenderness": yesNo(func(c *caseReport) *report.Answer { return &c.event().LocalTenderness }),
		"hours_after":      hoursAfter,
		"perforation": flag(func(c *caseReport, is bool) {
			if is {
				c.Events = append(c.Events, report.Event{ID: "e2", Lesion: 1, Kind: report.EventPerforation, Timing: report.AfterSession})
			}
		}),
	}},
	"R9.ae.sydney_dmi": {start: func() *caseReport { return specimen(report.Colon) }, fields: map[string]setter{
		"finding": word(map[string]func(*caseReport){
			"normal defect":                     func(c *caseReport) { c.resection().Muscle = report.MuscleInjury0 },
			"intact muscle, no fibrosis":        func(c *caseReport) { c.resection().Muscle = report.MuscleInjuryI },
			"intact muscle, fibrosis":           func(c *caseReport) { c.resection().Muscle = report.MuscleInjuryII },
			"target sign":                       func(c *caseReport) { c.resection().Muscle = report.MuscleInjuryIII },
			"transmural hole, no contamination": func(c *caseReport) { c.resection().Muscle = report.MuscleInjuryIV },
			"transmural hole, contamination":    func(c *caseReport) { c.resection().Muscle = report.MuscleInjuryV },
		}),
	}},
	"R10.metric.definitions": {start: func() *caseReport { return specimen(report.Stomach) }, fields: map[string]setter{
		"pieces": pieces, "hm": hm, "vm": vm,
		"visible_residual": yesNo(func(c *caseReport) *report.Answer { return &c.resection().VisibleResidual }),
	}},
	"R10.metric.speed": {start: func() *caseReport {
		c := specimen(report.Stomach)
		c.lesion().Specimen = &report.Specimen{}
		return c
	}, fields: map[string]setter{
		"long_mm":  number(func(c *caseReport) *report.Number { return &c.lesion().Specimen.SizeLongMm }),
		"short_mm": number(func(c *caseReport) *report.Number { return &c.lesion().Specimen.SizeShortMm }),
		"minutes":  cuttingTime,
	}},
	"R10.metric.curriculum_start": {figureFields: []string{"en_bloc_in_last10", "model_procedures", "perforations_in_last10"}, figures: curriculumStart},
	"R10.metric.expert_triple":    {figureFields: []string{"cm2_per_h", "complication_pct", "en_bloc_pct"}, figures: expertTriple},
	"R10.metric.exact_ci":         {figureFields: []string{"k", "n", "method"}, figures: exactInterval},
	"R10.metric.wilson":           {figureFields: []string{"k", "n", "z"}, figures: scoreInterval},
	"R10.metric.funnel_normal":    {figureFields: []string{"n", "target"}, figures: funnel},
	"R11.surveillance.esge2020": {start: polypCase, fields: map[string]setter{
		"adenomas": polypCount, "max_mm": clinicalSize, "piecemeal": inPieces, "dysplasia": dysplasia,
	}},
	"R11.surveillance.usmstf2020": {start: polypCase, fields: map[string]setter{
		"adenomas": polypCount, "tubular_adenomas": polypCount, "max_mm": clinicalSize, "piecemeal": inPieces, "dysplasia": dysplasia,
	}},
	"R14.antithrombotic.jges2017": {start: drugsKnown(report.Stomach, report.ESD), fields: map[string]setter{
		"drug": word(map[string]func(*caseReport){
			"DOAC":     func(c *caseReport) { c.Before.Antithrombotics = []report.Antithrombotic{{Class: report.DOAC}} },
			"warfarin": func(c *caseReport) { c.Before.Antithrombotics = []report.Antithrombotic{{Class: report.Warfarin}} },
		}),
		"inr": number(func(c *caseReport) *report.Number { return &c.Before.INR }),
		"procedure": word(map[string]func(*caseReport){
			"ESD": func(*caseReport) {}, "biopsy": nothingResected, "diagnostic": nothingResected, "diagnostic or biopsy": nothingResected,
		}),
	}},
}

// Values that several rules share.
var (
	age = number(func(c *caseReport) *report.Number { return &c.Patient.AgeY })

	clinicalDepthWord = word(map[string]func(*caseReport){
		"cT1a": expectT1a, "T1a": expectT1a, "mucosal": expectT1a, "intramucosal": expectT1a,
		"cT1b": func(c *caseReport) { c.seen().PredictedDepth = report.PredictT1b },
		"sm1":  func(c *caseReport) { c.seen().PredictedDepth = report.PredictT1bSM1 },
		"sm2":  func(c *caseReport) { c.seen().PredictedDepth = report.PredictT1bSM2 },
	})
	biopsyGroup = word(map[string]func(*caseReport){
		"differentiated":   func(c *caseReport) { c.seen().BiopsyTypes = []report.HistologyType{report.TypeTub1} },
		"undifferentiated": func(c *caseReport) { c.seen().BiopsyTypes = []report.HistologyType{report.TypePor2} },
		"dysplasia":        func(c *caseReport) { c.seen().BiopsyTypes = []report.HistologyType{report.TypeDysplasia} },
	})
	squamousDepth = word(map[string]func(*caseReport){
		"EP": depthIs(report.PT1aEP), "m1": depthIs(report.PT1aEP), "LPM": depthIs(report.PT1aLPM), "m2": depthIs(report.PT1aLPM),
		"MM": depthIs(report.PT1aMM), "m3": depthIs(report.PT1aMM), "SM1": depthIs(report.PT1bSM1), "sm1": depthIs(report.PT1bSM1),
		"SM2": depthIs(report.PT1bSM2), "sm2": depthIs(report.PT1bSM2),
	})
	inPieces = flag(func(c *caseReport, is bool) {
		if is {
			c.resection().Pieces = report.Int(3)
		}
	})
	dysplasia = word(map[string]func(*caseReport){
		"low":  func(c *caseReport) { c.histology().Dysplasia = report.DysplasiaLow },
		"high": func(c *caseReport) { c.histology().Dysplasia = report.DysplasiaHigh },
	})
)

func expectT1a(c *caseReport) { c.seen().PredictedDepth = report.PredictT1a }

func depthIs(p report.PT) func(*caseReport) { return func(c *caseReport) { c.histology().PT = p } }

func nothingResected(c *caseReport) { c.lesion().Resection = nil }

func colonSeen() *caseReport { return blank(report.Colon) }

func earlier(c *caseReport) *report.Earlier {
	if len(c.Before.Earlier) == 0 {
		c.Before.Indication = report.IntentRecurrence
		c.Before.Earlier = []report.Earlier{{Lesion: 1, Kind: report.EarlierResection}}
	}
	return &c.Before.Earlier[0]
}

func histologyType(c *caseReport, v json.RawMessage) error {
	var s report.HistologyType
	if err := json.Unmarshal(v, &s); err != nil {
		return err
	}
	if !oneOf(s, report.TypePap, report.TypeTub1, report.TypeTub2, report.TypePor1, report.TypePor2, report.TypeSig, report.TypeMuc) {
		return fmt.Errorf("unknown value %q", s)
	}
	c.histology().Types = []report.HistologyType{s}
	return nil
}

// buddingNumber takes 0 to 3 (no bud at all is BD1), or null where budding does not arise.
func buddingNumber(c *caseReport, v json.RawMessage) error {
	grades := map[string]report.Budding{"null": report.Budding(report.NotApplicable), "0": report.BD1, "1": report.BD1, "2": report.BD2, "3": report.BD3}
	g, ok := grades[string(v)]
	if !ok {
		return fmt.Errorf("value %s: a budding grade from 0 to 3 or null is needed", v)
	}
	c.histology().Budding = g
	return nil
}

func pattern(to func(*caseReport) *report.Pattern) setter {
	return word(map[string]func(*caseReport){
		"regular":   func(c *caseReport) { *to(c) = report.PatternRegular },
		"irregular": func(c *caseReport) { *to(c) = report.PatternIrregular },
		"absent":    func(c *caseReport) { *to(c) = report.PatternAbsent },
	})
}

// Figures over a series.

func twoByTwo(in numbers) (map[string]any, error) {
	n, err := in.need("tp", "fp", "fn", "tn")
	if err != nil {
		return nil, err
	}
	a, err := stats.TwoByTwo(int(n[0]), int(n[1]), int(n[2]), int(n[3]))
	return map[string]any{"sens_pct": a.Sensitivity, "spec_pct": a.Specificity, "ppv_pct": a.PPV, "npv_pct": a.NPV, "accuracy_pct": a.Overall}, err
}

func curriculumStart(in numbers) (map[string]any, error) {
	n, err := in.need("model_procedures", "en_bloc_in_last10", "perforations_in_last10")
	if err != nil {
		return nil, err
	}
	return map[string]any{"ready_for_human": stats.ReadyForHuman(int(n[0]), int(n[1]), int(n[2]))}, nil
}

func expertTriple(in numbers) (map[string]any, error) {
	n, err := in.need("cm2_per_h", "complication_pct", "en_bloc_pct")
	if err != nil {
		return nil, err
	}
	return map[string]any{"expert": stats.Expert(n[0], n[1], n[2])}, nil
}

func exactInterval(in numbers) (map[string]any, error) {
	n, err := in.need("k", "n")
	if err != nil {
		return nil, err
	}
	i, err := stats.ClopperPearson(int(n[0]), int(n[1]), 0.95)
	return map[string]any{"lower_pct": 100 * i.Lower, "upper_pct": 100 * i.Upper}, err
}

func scoreInterval(in numbers) (map[string]any, error) {
	n, err := in.need("k", "n", "z")
	if err != nil {
		return nil, err
	}
	i, err := stats.Wilson(int(n[0]), int(n[1]), n[2])
	return map[string]any{"p": i.Rate, "lower": i.Lower, "upper": i.Upper}, err
}

func funnel(in numbers) (map[string]any, error) {
	n, err := in.need("target", "n")
	if err != nil {
		return nil, err
	}
	f, err := stats.FunnelNormal(n[0], int(n[1]))
	return map[string]any{"l95": f.Lower95, "u95": f.Upper95, "l998": f.Lower998, "u998": f.Upper998}, err
}
