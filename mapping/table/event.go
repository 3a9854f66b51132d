package table

import (
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
)

func happened(name, source, description string, get func(e *report.Event) string) Column {
	return words(name, "events[]."+source, description, func(a *at) string { return get(a.event) })
}

func happenedFigure(name, unit, source, description string, get func(e *report.Event) report.Number) Column {
	return figure(name, unit, "events[]."+source, description, func(a *at) report.Number { return get(a.event) })
}

var eventColumns = []Column{
	key(),
	keyed(cells("event", Integer, "", "enbloc", "Number of the event within the case, from 1; the sender's own id is not exported.", func(a *at) Value { return whole(a.number) })),
	cells("lesion", Integer, "", "events[].lesion", "Number of the lesion that it came from; empty when none is named.", func(a *at) Value { return numberOrNone(a.event.Lesion) }),
	required(happened("kind", "kind", "Kind of event.", func(e *report.Event) string { return string(e.Kind) })),
	required(happened("timing", "timing", "During or after the session.", func(e *report.Event) string { return string(e.Timing) })),
	cells("day", Integer, "d", "events[].occurred_at, events[].recognised_at, session.end", "Calendar days from the end of the session to when it happened or, where that is not given, was recognised.", dayAfter),
	words("bleeding_sign", "events[].symptoms, events[].haemodynamically_unstable", "Haematemesis, melaena, haematochezia, or instability beside another symptom: yes. Symptoms listed and none of these: no. No list: empty.", bleedingSign),
	happened("unstable", "haemodynamically_unstable", "Haemodynamically unstable.", func(e *report.Event) string { return string(e.Unstable) }),
	happened("emergency_endoscopy", "emergency_endoscopy", "Emergency endoscopy.", func(e *report.Event) string { return string(e.EmergencyEndoscopy) }),
	happenedFigure("hb_before_g_dl", "g/dL", "hb_before_g_dl", "Haemoglobin before.", func(e *report.Event) report.Number { return e.HbBeforeGDl }),
	happenedFigure("hb_after_g_dl", "g/dL", "hb_after_g_dl", "Haemoglobin after.", func(e *report.Event) report.Number { return e.HbAfterGDl }),
	happened("transfusion", "transfusion", "Blood transfused.", func(e *report.Event) string { return string(e.Transfusion) }),
	happened("interventions", "interventions[].kind", "Interventions, parted by semicolons.", func(e *report.Event) string {
		var kinds []report.InterventionKind
		for _, in := range e.Interventions {
			kinds = append(kinds, in.Kind)
		}
		return joined(kinds)
	}),
	happenedFigure("unplanned_nights", "", "unplanned_nights", "Nights in hospital, or nights longer, because of the event.", func(e *report.Event) report.Number { return e.UnplannedNights }),
	happenedFigure("icu_nights", "", "icu_nights", "Nights in intensive care.", func(e *report.Event) report.Number { return e.ICUNights }),
	happenedFigure("admission_h", "h", "admission_h", "Unplanned admission.", func(e *report.Event) report.Number { return e.AdmissionH }),
	happened("outcome", "outcome", "How the event ended.", func(e *report.Event) string { return string(e.Outcome) }),
	answered("severity_asge", "R9.ae.asge2010", "Severity by the ASGE lexicon."),
	answered("severity_agree", "R9.ae.agree2022", "Severity by AGREE."),
	valued("delayed_bleeding_15d", ruleWindows, "def15", "Late bleedings: meets the definition of 15 days."),
	valued("delayed_bleeding_28d", ruleWindows, "def28", "Late bleedings: meets the definition of 28 days, confirmed at emergency endoscopy."),
	valued("delayed_bleeding_30d", ruleWindows, "def30", "Late bleedings: meets the definition of 30 days."),
}

func numberOrNone(n int) Value {
	if n == 0 {
		return Value{}
	}
	return whole(n)
}

func dayAfter(a *at) Value {
	when := a.event.OccurredAt
	if when.IsZero() {
		when = a.event.RecognisedAt
	}
	from, to := day(a.c.Report.Session.End.Day()), day(when.Day())
	if from.Empty() || to.Empty() {
		return Value{}
	}
	return whole(int(to.number - from.number))
}

func bleedingSign(a *at) string {
	if a.event.Symptoms == nil {
		return ""
	}
	for _, s := range a.event.Symptoms {
		switch s {
		case report.Haematemesis, report.Melaena, report.Haematochezia:
			return string(report.Yes)
		}
	}
	if len(a.event.Symptoms) > 0 && a.event.Unstable == report.Yes {
		return string(report.Yes)
	}
	return string(report.No)
}

func said(name, description string, get func(r *assess.Result) string) Column {
	return words(name, "enbloc", description, func(a *at) string { return get(a.result) })
}

var assessmentColumns = []Column{
	key(),
	keyed(cells("answer_number", Integer, "", "enbloc", "Number of the answer within the case, from 1.", func(a *at) Value { return whole(a.number) })),
	required(said("rule", "Id of the rule.", func(r *assess.Result) string { return r.Rule })),
	cells("lesion", Integer, "", "enbloc", "Number of the lesion, where it is about one.", func(a *at) Value { return numberOrNone(a.result.Lesion) }),
	cells("event", Integer, "", "enbloc", "Number of the event, where it is about one.", eventNumber),
	said("guideline", "Guideline.", func(r *assess.Result) string { return r.Guideline }),
	said("edition", "Edition of the guideline.", func(r *assess.Result) string { return r.Edition }),
	said("source", "Citation.", func(r *assess.Result) string { return r.Source }),
	required(said("confirmed", "How far the answer is confirmed against its source.", func(r *assess.Result) string { return string(r.Confirmed) })),
	required(said("answer", "Class, group or figure, or cannot-be-assessed.", func(r *assess.Result) string { return r.Answer })),
	said("missing", "Where the missing inputs would stand, as JSON Pointers parted by semicolons.", func(r *assess.Result) string { return joined(r.Missing) }),
	said("risk_of", "What the published risk is of.", func(r *assess.Result) string {
		if r.Risk == nil {
			return ""
		}
		return r.Risk.Of
	}),
	cells("risk_pct", Decimal, "%", "enbloc", "Published risk that belongs to the answer.", func(a *at) Value {
		if a.result.Risk == nil {
			return Value{}
		}
		return decimal(a.result.Risk.Pct)
	}),
}

func eventNumber(a *at) Value {
	number := 0
	for _, e := range a.c.Report.Events {
		if e.Retracted {
			continue
		}
		number++
		if a.result.Event != "" && e.ID == a.result.Event {
			return whole(number)
		}
	}
	return Value{}
}

var deliveryColumns = []Column{
	key(),
	keyed(cells("sequence", Integer, "", "enbloc", "Number of the state of the case.", func(a *at) Value { return whole(a.delivery.Sequence) })),
	keyed(words("target", "enbloc", "Name of the target.", func(a *at) string { return a.delivery.Target })),
	required(words("state", "enbloc", "Where the delivery stands.", func(a *at) string { return a.delivery.State })),
	words("reason", "enbloc", "Why, as a fixed word.", func(a *at) string { return a.delivery.Reason }),
	counted("attempts", "enbloc", "Times that a worker took it.", func(a *at) int { return a.delivery.Attempts }),
	required(cells("created_at", Moment, "", "enbloc", "When the state was accepted.", func(a *at) Value { return moment(a.delivery.Created) })),
	required(cells("updated_at", Moment, "", "enbloc", "When the delivery last changed.", func(a *at) Value { return moment(a.delivery.Updated) })),
}
