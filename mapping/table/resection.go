package table

import (
	"time"

	"enbloc/mapping/assess/stats"
	"enbloc/mapping/report"
)

func done(name, source, description string, get func(r *report.Resection) string) Column {
	return words(name, "lesions[].resection."+source, description, func(a *at) string { return get(a.lesion.Resection) })
}

func doneFigure(name, unit, source, description string, get func(r *report.Resection) report.Number) Column {
	return figure(name, unit, "lesions[].resection."+source, description, func(a *at) report.Number { return get(a.lesion.Resection) })
}

func specimen(a *at) *report.Specimen {
	if a.lesion.Specimen == nil {
		return &report.Specimen{}
	}
	return a.lesion.Specimen
}

func handedOver(name, source, description string, get func(s *report.Specimen) string) Column {
	return words(name, "lesions[].specimen."+source, description, func(a *at) string { return get(specimen(a)) })
}

var resectionColumns = []Column{
	key(), lesionNumber(),
	required(done("technique", "technique", "Way of resecting.", func(r *report.Resection) string { return string(r.Technique) })),
	done("planned_technique", "planned_technique", "Technique planned, where it was another one.", func(r *report.Resection) string { return string(r.Planned) }),
	done("aids", "aids", "Variations of the dissection, parted by semicolons.", func(r *report.Resection) string { return joined(r.Aids) }),
	done("completion", "completion", "Whether the resection was carried through.", func(r *report.Resection) string { return string(r.Completion) }),
	done("stop_reason", "stop_reason", "Why it was not completed.", func(r *report.Resection) string { return string(r.StopReason) }),
	doneFigure("pieces", "", "pieces", "Number of pieces.", func(r *report.Resection) report.Number { return r.Pieces }),
	done("visible_residual", "visible_residual", "Lesion left in place, as seen at the end.", func(r *report.Resection) string { return string(r.VisibleResidual) }),
	done("fibrosis", "fibrosis", "Submucosal fibrosis: F0 none, F1 mild, F2 severe.", func(r *report.Resection) string { return string(r.Fibrosis) }),
	done("muscle_injury", "muscle_injury", "Type of deep mural injury, 0 to V (Burgess, Gut 2017;66:1779).", func(r *report.Resection) string { return string(r.Muscle) }),
	done("closure", "closure.result", "How far the defect was closed.", func(r *report.Resection) string {
		if r.Closure == nil {
			return ""
		}
		return string(r.Closure.Result)
	}),
	doneFigure("defect_circumference_pct", "%", "defect_circumference_pct", "Share of the circumference that the mucosal defect takes.", func(r *report.Resection) report.Number { return r.DefectCircumferencePct }),
	done("stricture_prevention", "stricture_prevention", "What was given against a stricture.", func(r *report.Resection) string { return string(r.StricturePrevention) }),
	handedOver("retrieved", "retrieved", "Specimen retrieved.", func(s *report.Specimen) string { return string(s.Retrieved) }),
	handedOver("orientation", "orientation", "Whether the sides of the specimen can be told.", func(s *report.Specimen) string { return string(s.Orientation) }),
	handedOver("pinned", "pinned", "Specimen pinned.", func(s *report.Specimen) string { return string(s.Pinned) }),
	handedOver("fixative", "fixative", "What the specimen lies in.", func(s *report.Specimen) string { return string(s.Fixative) }),
	figure("specimen_long_mm", "mm", "lesions[].specimen.size_long_mm", "Long diameter of the pinned specimen.", func(a *at) report.Number { return specimen(a).SizeLongMm }),
	figure("specimen_short_mm", "mm", "lesions[].specimen.size_short_mm", "Short diameter of the pinned specimen.", func(a *at) report.Number { return specimen(a).SizeShortMm }),
	cells("resection_min", Decimal, "min", "lesions[].resection.phases", "Time from the first start of the incision to the last end of incision, trimming, dissection or snaring.",
		func(a *at) Value { return cuttingMinutes(a.lesion.Resection.Phases) }),
	cells("speed_cm2_h", Decimal, "cm2/h", "specimen_long_mm, specimen_short_mm, resection_min", "Dissections only: area of the pinned specimen as an ellipse, divided by resection_min.", speed),
	answered("en_bloc", "R10.metric.en_bloc", "In one piece and none seen left: yes, no, cannot-be-assessed."),
	answered("complete", "R10.metric.complete.korea2020", "Both margins free of tumour: yes, no, cannot-be-assessed."),
	answered("r0", "R10.metric.r0", "En bloc and both margins free of tumour: yes, no, cannot-be-assessed (RX)."),
	answered("curative_esge", "R10.metric.curative.esge2022", "Curative by ESGE 2022: yes, no, undetermined, cannot-be-assessed, not-applicable."),
	answered("curative_jges", "R10.metric.curative.jges2020", "Stomach: curative by JGES/JGCA (eCuraA or eCuraB)."),
	answered("curative_jes", "R10.metric.curative.jes", "Squamous oesophagus: curative by JES/JGES."),
	words("perforation", "events[].kind, muscle_injury", "A perforation event, or deep mural injury IV or V: yes. Injury 0 to III recorded and no event: no. Otherwise cannot-be-assessed.", perforation),
	words("delayed_perforation", "events[].kind, events[].timing", "A perforation after the session: yes, cannot-be-assessed, none-recorded.", func(a *at) string {
		return a.eventful(func(e *report.Event) truth {
			return is(e.Kind == report.EventPerforation && e.Timing == report.AfterSession)
		})
	}),
	words("delayed_bleeding_15d", ruleWindows, "Delayed bleeding by the definition of 15 days: yes, no, cannot-be-assessed, none-recorded.", bledWithin("def15")),
	words("delayed_bleeding_28d", ruleWindows, "Delayed bleeding confirmed at emergency endoscopy within 28 days.", bledWithin("def28")),
	words("delayed_bleeding_30d", ruleWindows, "Delayed bleeding by the definition of 30 days.", bledWithin("def30")),
	words("any_event", "events[]", "Any adverse event: yes, cannot-be-assessed, none-recorded.", func(a *at) string {
		return a.eventful(func(*report.Event) truth { return yes })
	}),
	words("surgery_recorded", "events[].interventions[].kind, plan.referrals[].to", "Surgery for an event, or referral to surgery in the plan: yes, cannot-be-assessed, none-recorded.", surgery),
}

// cuttingMinutes runs from the first start of an incision to the last end of
// incision, trimming, dissection or snaring: the time of the published speeds.
// Coagulation of the base and closure come after it.
func cuttingMinutes(phases []report.Phase) Value {
	var start, end time.Time
	for _, p := range phases {
		switch p.Step {
		case report.StepIncision:
			if from := p.Start.At(); start.IsZero() || from.Before(start) {
				start = from
			}
		case report.StepTrimming, report.StepDissection, report.StepSnaring:
		default:
			continue
		}
		if to := p.End.At(); to.After(end) {
			end = to
		}
	}
	if start.IsZero() || !end.After(start) {
		return Value{}
	}
	return decimal(end.Sub(start).Minutes())
}

func speed(a *at) Value {
	minutes := cuttingMinutes(a.lesion.Resection.Phases)
	long, okLong := specimen(a).SizeLongMm.Value()
	short, okShort := specimen(a).SizeShortMm.Value()
	if !a.lesion.Resection.Technique.Dissects() || minutes.Empty() || !okLong || !okShort || long <= 0 || short <= 0 {
		return Value{}
	}
	return decimal(stats.SqMmPerMinToSqCmPerHour(stats.EllipseArea(long, short) / minutes.Decimal()))
}
