package check

import "enbloc/mapping/report"

// Short names for the columns of the table.
const (
	reject = report.Error
	warn   = report.Warning
	advise = report.Advice
)

var (
	everywhere []report.Organ
	stomach    = []report.Organ{report.Stomach}
	gullet     = []report.Organ{report.Oesophagus}
	duodenum   = []report.Organ{report.Duodenum}
	bowel      = []report.Organ{report.Colon, report.Rectum}
	notBowel   = []report.Organ{report.Oesophagus, report.Stomach, report.Duodenum}
	notGullet  = []report.Organ{report.Stomach, report.Duodenum, report.Colon, report.Rectum}
	notStomach = []report.Organ{report.Oesophagus, report.Duodenum, report.Colon, report.Rectum}
	notPapilla = []report.Organ{report.Oesophagus, report.Stomach, report.Colon, report.Rectum}
)

// table holds every check. To add one: write its function in the file of its
// topic, add a row here, and add a case that trips it to trips in
// trips_test.go; a test fails until all three are there.
var table = []Row{
	// The envelope: whose report, which revision, in what state.
	{"envelope.signed-without-signer", warn, everywhere, "status, signer", practice, onReport(signedWithoutSigner)},
	{"envelope.signed-without-time", warn, everywhere, "status, signed_at", practice, onReport(signedWithoutTime)},
	{"envelope.draft-signed", warn, everywhere, "status, signed_at", logic, onReport(draftSigned)},
	{"envelope.withdrawn-without-reason", reject, everywhere, "status, status_reason", practice, onReport(withdrawnWithoutReason)},
	{"envelope.change-without-reason", warn, everywhere, "status, status_reason", practice, onReport(changeWithoutReason)},
	{"envelope.first-revision-changed", warn, everywhere, "status, revision", logic, onReport(firstRevisionChanged)},
	{"envelope.written-before-session", warn, everywhere, "written_at, session start", logic, onReport(writtenBeforeSession)},
	{"envelope.signed-before-written", warn, everywhere, "signed_at, written_at", logic, onReport(signedBeforeWritten)},
	{"patient.age-implausible", warn, everywhere, "age", practice, onReport(ageImplausible)},

	// The session and the numbers that refer within the report.
	{"session.end-before-start", reject, everywhere, "session start and end", logic, onReport(sessionEndBeforeStart)},
	{"session.very-long", warn, everywhere, "session start and end", practice, onReport(sessionVeryLong)},
	{"session.out-of-reach", warn, everywhere, "kind of endoscopy, organ, site", practice, onLesion(outOfReach)},
	{"session.air", advise, everywhere, "gas, technique", practice, onReport(airInsufflation)},
	{"lesion.number-twice", reject, everywhere, "lesion numbers", logic, onReport(lesionNumberTwice)},
	{"lesion.unknown-reference", reject, everywhere, "lesion numbers in earlier, images, events, plan", logic, onReport(unknownReference)},
	{"lesion.several-though-single", warn, everywhere, "lesions by organ, multiple_tumours", logic, onLesion(severalThoughSingle)},

	// Before the session.
	{"before.none-taken-with-drugs", reject, everywhere, "antithrombotic_history, antithrombotics", logic, onReport(noneTakenWithDrugs)},
	{"before.complete-list-empty", advise, everywhere, "antithrombotic_history, antithrombotics", practice, onReport(completeListEmpty)},
	{"before.drug-twice", warn, everywhere, "antithrombotics by class and agent", logic, onReport(drugTwice)},
	{"before.agent-of-other-class", warn, everywhere, "antithrombotic class, agent", logic, onReport(agentOfOtherClass)},
	{"before.interrupted-without-last-dose", warn, everywhere, "antithrombotic management, last_dose", practice, onReport(interruptedWithoutLastDose)},
	{"before.last-dose-in-session", warn, everywhere, "last_dose, session start", logic, onReport(lastDoseInSession)},
	{"before.replaced-without-replacement", warn, everywhere, "antithrombotic management, replaced_by", logic, onReport(replacedWithoutReplacement)},
	{"before.replacement-though-not-replaced", warn, everywhere, "antithrombotic management, replaced_by", logic, onReport(replacementThoughNotReplaced)},
	{"before.bridging-of-continued", warn, everywhere, "antithrombotic management, bridging", logic, onReport(bridgingOfContinued)},
	{"before.bridging-of-antiplatelet", warn, everywhere, "antithrombotic class, bridging", practice, onReport(bridgingOfAntiplatelet)},
	{"before.restart-before-session", warn, everywhere, "planned_restart, session start", logic, onReport(restartBeforeSession)},
	{"before.inr-missing", advise, everywhere, "warfarin, inr", practice, onReport(inrMissing)},
	{"before.inr-high-on-warfarin", warn, everywhere, "warfarin, management, inr", jgesDrugs, onReport(inrHighOnWarfarin)},
	{"before.history-missing", advise, stomach, "antithrombotic_history", bestJ, onReport(historyMissing)},
	{"before.dialysis-missing", advise, stomach, "haemodialysis", bestJ, onReport(dialysisMissing)},
	{"before.implant-without-precaution", warn, everywhere, "implanted_device, implant_precaution", practice, onReport(implantWithoutPrecaution)},
	{"before.neutral-electrode-missing", advise, everywhere, "neutral_electrode_site, technique", practice, onReport(neutralElectrodeMissing)},
	{"before.dose-missing", warn, everywhere, "sedation doses", practice, onReport(doseMissing)},
	{"before.dose-in-two-units", reject, everywhere, "dose_mg, dose_ug", logic, onReport(doseInTwoUnits)},
	{"before.sedation-none-with-drugs", warn, everywhere, "sedation depth, drugs", logic, onReport(sedationNoneWithDrugs)},
	{"before.drug-after-session", warn, everywhere, "sedation given_at, session end", logic, onReport(drugAfterSession)},
	{"before.boston-missing", advise, bowel, "boston", practice, onReport(bostonMissing)},
	{"before.boston-out-of-context", warn, everywhere, "boston, organs", practice, onReport(bostonOutOfContext)},
	{"before.earlier-after-session", warn, everywhere, "earlier dates, session start", logic, onReport(earlierAfterSession)},
	{"before.earlier-ecura-elsewhere", warn, notStomach, "earlier ecura, indication, organ", jgesGastric, onReport(earlierECuraElsewhere)},
	{"before.recurrence-without-resection", advise, everywhere, "indication, earlier", logic, onReport(recurrenceWithoutResection)},

	// The lesion as seen: place.
	{"examination.site-of-other-organ", reject, everywhere, "organ, site", logic, onLesion(siteOfOtherOrgan)},
	{"examination.curvature-elsewhere", warn, notStomach, "wall, organ", practice, onLesion(curvatureElsewhere)},
	{"examination.third-elsewhere", warn, []report.Organ{report.Duodenum, report.Colon, report.Rectum}, "third, organ", practice, onLesion(thirdElsewhere)},
	{"examination.barrett-elsewhere", warn, notGullet, "mucosa, Prague, organ", logic, onLesion(barrettElsewhere)},
	{"examination.prague-m-below-c", reject, everywhere, "Prague C and M", logic, onLesion(pragueMBelowC)},
	{"examination.barrett-without-prague", advise, gullet, "mucosa, Prague", practice, onLesion(barrettWithoutPrague)},
	{"examination.distance-from-wrong-end", warn, everywhere, "distance from incisors or anal verge, organ", practice, onLesion(distanceFromWrongEnd)},
	{"examination.distance-implausible", warn, everywhere, "distance from incisors or anal verge, organ", practice, onLesion(distanceImplausible)},
	{"examination.papilla-elsewhere", warn, notPapilla, "involves_papilla, organ", logic, onLesion(papillaElsewhere)},
	{"examination.circumference-contradiction", warn, everywhere, "circumferential, circumference_pct", logic, onLesion(circumferenceContradiction)},

	// The lesion as seen: size.
	{"size.short-exceeds-long", warn, everywhere, "long and short diameters of lesion and specimen", logic, onLesion(shortExceedsLong)},
	{"size.looks-like-centimetres", warn, everywhere, "lesion and specimen size, technique", practice, onLesion(looksLikeCentimetres)},
	{"size.tumour-short-exceeds-long", warn, everywhere, "tumour_long_mm, tumour_short_mm", logic, onHistology(tumourShortExceedsLong)},
	{"size.tumour-exceeds-specimen", warn, everywhere, "tumour and specimen size, pieces", logic, onLesion(tumourExceedsSpecimen)},
	{"size.pathology-differs", advise, everywhere, "tumour and lesion size", practice, onLesion(pathologyDiffers)},
	{"specimen.smaller-than-lesion", warn, everywhere, "specimen and lesion size, pieces", logic, onLesion(specimenSmallerThanLesion)},
	{"resection.defect-smaller-than-lesion", warn, everywhere, "defect and lesion circumference and length", logic, onLesion(defectSmallerThanLesion)},

	// The lesion as seen: classes and signs.
	{"examination.paris-pedunculated-mix", warn, everywhere, "Paris types", practice, onLesion(parisPedunculatedMix)},
	{"examination.paris-pedicle", warn, everywhere, "Paris types, pedicle", paris, onLesion(parisPedicle)},
	{"examination.paris-height", warn, everywhere, "Paris types, height, mucosa", paris, onLesion(parisHeight)},
	{"examination.paris-height-at-limit", advise, everywhere, "Paris types, height, mucosa", paris, onLesion(parisHeightAtLimit)},
	{"examination.colorectal-class-elsewhere", warn, notBowel, "NICE, JNET, Kudo, lateral-spreading subtype", practice, onLesion(colorectalClassElsewhere)},
	{"examination.lst-too-small", warn, bowel, "lateral-spreading subtype, size", bogie, onLesion(lstTooSmall)},
	{"examination.lst-pedunculated", warn, bowel, "lateral-spreading subtype, Paris types", practice, onLesion(lstPedunculated)},
	{"examination.nice-against-jnet", warn, bowel, "NICE, JNET", jnet, onLesion(niceAgainstJNET)},
	{"examination.jnet-against-pattern", warn, bowel, "JNET, vessel and surface pattern", jnet, onLesion(jnetAgainstPattern)},
	{"examination.non-extension-elsewhere", advise, notStomach, "non-extension sign, organ", nagahama, onLesion(nonExtensionElsewhere)},
	{"examination.non-extension-insufflation", advise, stomach, "non-extension sign, full insufflation", nagahama, onLesion(nonExtensionInsufflation)},
	{"examination.non-extension-uncommented", warn, stomach, "non-extension sign, technique, comment", nagahama, onLesion(nonExtensionUncommented)},
	{"examination.deep-class-uncommented", warn, bowel, "NICE, JNET, Kudo, technique, comment", jnet, onLesion(deepClassUncommented)},
	{"examination.non-lifting-uncommented", advise, everywhere, "non-lifting sign, technique, comment", practice, onLesion(nonLiftingUncommented)},
	{"examination.squamous-depth-elsewhere", warn, notGullet, "predicted depth, organ", sccDepth, onLesion(squamousDepthElsewhere)},

	// The resection: times.
	{"resection.phase-end-before-start", reject, everywhere, "phase start and end", logic, onLesion(phaseEndBeforeStart)},
	{"resection.bleeding-end-before-start", reject, everywhere, "bleeding start and end", logic, onLesion(bleedingEndBeforeStart)},
	{"resection.closure-end-before-start", reject, everywhere, "closure start and end", logic, onLesion(closureEndBeforeStart)},
	{"resection.base-end-before-start", reject, everywhere, "base coagulation start and end", logic, onLesion(baseEndBeforeStart)},
	{"resection.outside-session", warn, everywhere, "times of phases, injections, vessels, bleeding, closure", logic, onLesion(outsideSession)},
	{"resection.dissection-before-incision", warn, everywhere, "phases", practice, onLesion(dissectionBeforeIncision)},

	// The resection: technique and result.
	{"resection.pieces-against-containers", warn, everywhere, "pieces, pieces in containers", logic, onLesion(piecesAgainstContainers)},
	{"resection.pieces-missing", advise, everywhere, "completion, pieces", practice, onLesion(piecesMissing)},
	{"resection.complete-with-residual", warn, everywhere, "completion, visible_residual", logic, onLesion(completeWithResidual)},
	{"resection.stopped-without-reason", warn, everywhere, "completion, stop_reason", practice, onLesion(stoppedWithoutReason)},
	{"resection.stop-reason-though-complete", warn, everywhere, "completion, stop_reason", logic, onLesion(stopReasonThoughComplete)},
	{"resection.change-of-technique-unexplained", advise, everywhere, "technique, planned_technique, comment", practice, onLesion(changeOfTechniqueUnexplained)},
	{"resection.knife-without-dissection", warn, everywhere, "technique, knives", practice, onLesion(knifeWithoutDissection)},
	{"resection.dissection-without-knife", warn, everywhere, "technique, knives", practice, onLesion(dissectionWithoutKnife)},
	{"resection.hybrid-without-snare", warn, everywhere, "technique, knives, phases", practice, onLesion(hybridWithoutSnare)},
	{"resection.snare-in-esd", warn, everywhere, "technique, knives, phases", practice, onLesion(snareInESD)},
	{"resection.current-with-cold-snare", warn, everywhere, "technique, settings", logic, onLesion(currentWithColdSnare)},
	{"resection.circumferential-start", advise, bowel, "extent of incision and of first injection", practice, onLesion(circumferentialStart)},
	{"resection.duodenal-esd", advise, duodenum, "technique, organ", esgeDuodenum, onLesion(duodenalESD)},
	{"resection.duodenal-cold-snare", advise, duodenum, "technique, size", esgeDuodenum, onLesion(duodenalColdSnare)},

	// The resection: current, vessels, wall.
	{"resection.watts-high-for-needle", warn, everywhere, "settings: instrument, output, effect, max_w", practice, onLesion(wattsHighForNeedle)},
	{"resection.watts-low-for-insulated-tip", advise, everywhere, "settings: instrument, output, effect, max_w", practice, onLesion(wattsLowForInsulatedTip)},
	{"resection.setting-of-unlisted-knife", advise, everywhere, "settings, knives", logic, onLesion(settingOfUnlistedKnife)},
	{"resection.large-vessel-cut", warn, everywhere, "vessels: size, when", practice, onLesion(largeVesselCut)},
	{"resection.base-not-coagulated", warn, stomach, "base_coagulation, technique", practice, onLesion(baseNotCoagulated)},
	{"resection.bleeding-denied", reject, everywhere, "bleeding_occurred, bleeding", logic, onLesion(bleedingDenied)},
	{"resection.muscle-injury-open", warn, everywhere, "muscle_injury, closure", burgess, onLesion(muscleInjuryOpen)},
	{"resection.hole-without-event", warn, everywhere, "muscle_injury, events", burgess, onLesion(holeWithoutEvent)},
	{"resection.open-with-clips", warn, everywhere, "closure result, means, clips", logic, onLesion(openWithClips)},
	{"resection.closure-phase-without-closure", warn, everywhere, "phases, closure", logic, onLesion(closurePhaseWithoutClosure)},
	{"resection.stricture-prevention-missing", warn, gullet, "defect_circumference_pct, stricture_prevention", stricture, onLesion(stricturePreventionMissing)},

	// The specimen.
	{"specimen.before-session", warn, everywhere, "pinned_at, fixed_at, received_at, session start", logic, onLesion(specimenBeforeSession)},
	{"specimen.fixed-before-pinned", warn, everywhere, "fixed_at, pinned_at", handling, onLesion(fixedBeforePinned)},
	{"specimen.not-pinned", advise, everywhere, "technique, pinned", handling, onLesion(notPinned)},
	{"specimen.lost-though-measured", warn, everywhere, "retrieved, specimen size, histology", logic, onLesion(lostThoughMeasured)},
	{"specimen.container-twice", reject, everywhere, "container identifiers", logic, onReport(containerTwice)},
	{"specimen.accession-of-two-lesions", warn, everywhere, "accession numbers", logic, onReport(accessionOfTwoLesions)},

	// Histology.
	{"histology.before-session", warn, everywhere, "issued_at, session start", logic, onLesion(histologyBeforeSession)},
	{"histology.foreign-accession", warn, everywhere, "accession of histology and of containers", logic, onLesion(foreignAccession)},
	{"histology.depth-though-intramucosal", warn, everywhere, "pt, depth_um", logic, onHistology(depthThoughIntramucosal)},
	{"histology.depth-missing", advise, everywhere, "pt, depth_um", practice, onHistology(depthMissing)},
	{"histology.depth-against-step", warn, []report.Organ{report.Oesophagus, report.Stomach}, "pt, depth_um, mucosa", depthSteps, onLesion(depthAgainstStep)},
	{"histology.pt-of-other-organ", warn, everywhere, "pt, organ", practice, onLesion(ptOfOtherOrgan)},
	{"histology.type-of-other-organ", warn, everywhere, "types, organ", practice, onLesion(typeOfOtherOrgan)},
	{"histology.positive-margin-with-distance", warn, everywhere, "margins, distances", logic, onHistology(positiveMarginWithDistance)},
	{"histology.negative-margin-at-zero", warn, everywhere, "margins, distances", logic, onHistology(negativeMarginAtZero)},
	{"histology.clear-margin-piecemeal", advise, everywhere, "horizontal_margin, pieces", esge2022, onLesion(clearMarginPiecemeal)},
	{"histology.invasion-contradiction", warn, everywhere, "lymphatic, venous and lymphovascular invasion", logic, onHistology(invasionContradiction)},
	{"histology.benign-though-invasive", warn, everywhere, "types, pt, depth, invasion", logic, onHistology(benignThoughInvasive)},
	{"histology.no-neoplasia-with-tumour", warn, everywhere, "types", logic, onHistology(noNeoplasiaWithTumour)},
	{"histology.grade-order", warn, everywhere, "grade, worst_grade", logic, onHistology(gradeOrder)},
	{"histology.undifferentiated-contradiction", warn, everywhere, "types, undifferentiated_component", jgcaTypes, onHistology(undifferentiatedContradiction)},
	{"histology.undifferentiated-size-missing", advise, everywhere, "undifferentiated_component", jgesGastric, onHistology(undifferentiatedSizeMissing)},
	{"histology.undifferentiated-elsewhere", advise, notStomach, "undifferentiated_component, organ", practice, onLesion(undifferentiatedElsewhere)},
	{"histology.budding-count-against-grade", warn, everywhere, "budding, budding_count, budding_field_mm2", itbcc, onHistology(buddingCountAgainstGrade)},
	{"histology.budding-elsewhere", advise, notBowel, "budding, organ", itbcc, onLesion(buddingElsewhere)},
	{"histology.stalk-base-line", warn, everywhere, "depth_from, Paris types, pedicle", smDepth, onLesion(stalkBaseLine)},
	{"histology.ulcer-differs", advise, stomach, "ulceration seen and under the microscope", jgcaTypes, onLesion(ulcerDiffers)},

	// Events.
	{"event.id-twice", reject, everywhere, "event ids", logic, onReport(eventIDTwice)},
	{"event.before-session", warn, everywhere, "occurred_at, session start", logic, onReport(eventBeforeSession)},
	{"event.timing-contradiction", warn, everywhere, "timing, occurred_at, session end", logic, onReport(eventTimingContradiction)},
	{"event.order-of-times", warn, everywhere, "occurred_at, recognised_at, recorded_at", logic, onEvent(orderOfTimes)},
	{"event.intervention-before-event", warn, everywhere, "occurred_at, intervention times", logic, onEvent(interventionBeforeEvent)},
	{"event.hb-rises-in-bleeding", warn, everywhere, "hb_before_g_dl, hb_after_g_dl, transfusion", practice, onEvent(hbRisesInBleeding)},
	{"event.units-without-transfusion", reject, everywhere, "transfusion, transfusion_units", logic, onEvent(unitsWithoutTransfusion)},
	{"event.intervention-denied", reject, everywhere, "intervention_needed, interventions", logic, onEvent(interventionDenied)},
	{"event.icu-exceeds-stay", warn, everywhere, "icu_nights, unplanned_nights", logic, onEvent(icuExceedsStay)},
	{"event.nights-against-hours", warn, everywhere, "unplanned_nights, admission_h", logic, onEvent(nightsAgainstHours)},
	{"event.death-not-fatal", warn, everywhere, "kind, outcome", logic, onEvent(deathNotFatal)},
	{"event.aborted-after-session", warn, everywhere, "timing, procedure_aborted", logic, onEvent(abortedAfterSession)},

	// Plan and pictures.
	{"plan.follow-up-reversed", reject, everywhere, "follow-up earliest, latest", logic, onReport(followUpReversed)},
	{"plan.follow-up-before-session", warn, everywhere, "follow-up latest, session start", logic, onReport(followUpBeforeSession)},
	{"plan.restart-of-unlisted-drug", warn, everywhere, "antithrombotic_restart, antithrombotics", logic, onReport(restartOfUnlistedDrug)},
	{"plan.restart-missing", advise, everywhere, "antithrombotics, planned_restart, antithrombotic_restart", practice, onReport(restartMissing)},
	{"plan.h-pylori-open", advise, stomach, "h_pylori before and planned", practice, onReport(hPyloriOpen)},
	{"plan.eradication-of-nothing", warn, everywhere, "h_pylori before and planned", logic, onReport(eradicationOfNothing)},
	{"image.before-session", warn, everywhere, "taken_at, session start", logic, onReport(imageBeforeSession)},

	// Parts that arrive later.
	{"part.withdrawn-without-reason", reject, everywhere, "withdrawn, reason", practice, onPart(partWithdrawnWithoutReason)},
	{"part.no-results", reject, everywhere, "results", logic, onHistologyPart(noResults)},
	{"part.result-twice", reject, everywhere, "results by lesion and accession", logic, onHistologyPart(resultTwice)},
	{"part.result-unnamed", reject, everywhere, "results: lesion, accession", logic, onHistologyPart(resultUnnamed)},
	{"part.no-events", reject, everywhere, "events", logic, onEventsPart(noEvents)},
	{"part.event-id-twice", reject, everywhere, "event ids", logic, onEventsPart(partEventIDTwice)},
}
