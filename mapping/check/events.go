package check

import (
	"fmt"

	"enbloc/mapping/report"
)

// idTwice names every event whose id came before. A retracted event keeps its
// id, so a second one under it is a contradiction all the same.
func idTwice(events []report.Event, say say) {
	seen := map[string]bool{}
	for i, e := range events {
		if seen[e.ID] {
			say(at("/events", i)+"/id", "Two events have the same id.", "Give each event its own id and keep it over all revisions.")
		}
		seen[e.ID] = true
	}
}

func eventIDTwice(r *report.Report, say say) { idTwice(r.Events, say) }

func eventBeforeSession(r *report.Report, say say) {
	for i, e := range r.Events {
		if earlier(e.OccurredAt, r.Session.Start) {
			say(at("/events", i)+"/occurred_at", "The event happened before the session began.", "Check the date, the time and the zone.")
		}
	}
}

func eventTimingContradiction(r *report.Report, say say) {
	s := r.Session
	for i, e := range r.Events {
		within := !earlier(e.OccurredAt, s.Start) && earlier(e.OccurredAt, s.End)
		switch {
		case e.Timing == report.DuringSession && earlier(s.End, e.OccurredAt):
			say(at("/events", i)+"/timing", "The event is said to have happened during the session, and its time lies after it.", "Check timing and time.")
		case e.Timing == report.AfterSession && within:
			say(at("/events", i)+"/timing", "The event is said to have happened after the session, and its time lies within it.", "Check timing and time.")
		}
	}
}

func orderOfTimes(e *report.Event, say say) {
	switch {
	case earlier(e.RecognisedAt, e.OccurredAt):
		say("/recognised_at", "The event was recognised before it happened.", "Check both times.")
	case earlier(e.RecordedAt, e.OccurredAt), earlier(e.RecordedAt, e.RecognisedAt):
		say("/recorded_at", "The event was recorded before it happened or was recognised.", "Check the times.")
	}
}

func interventionBeforeEvent(e *report.Event, say say) {
	for i, in := range e.Interventions {
		if earlier(in.At, e.OccurredAt) {
			say(at("/interventions", i)+"/at", "The intervention came before the event that it was needed for.", "Check both times.")
		}
	}
}

func hbRisesInBleeding(e *report.Event, say say) {
	if e.Kind != report.EventBleeding || !less(e.HbBeforeGDl, e.HbAfterGDl) {
		return
	}
	text := "Haemoglobin is higher after the bleeding than before it (" + figures("g/dL", e.HbAfterGDl, e.HbBeforeGDl) + ")"
	if e.Transfusion == report.Yes {
		say("/hb_after_g_dl", text+"; a value from after the transfusion hides the fall.", "Give the lowest value before the transfusion.")
		return
	}
	say("/hb_after_g_dl", text+".", "Check both; they may be exchanged.")
}

func unitsWithoutTransfusion(e *report.Event, say say) {
	if e.Transfusion == report.No && above(e.TransfusionUnits, 0) {
		say("/transfusion_units", "Units are given, and no transfusion is said to have been.", "Answer yes, or remove the units.")
	}
}

func interventionDenied(e *report.Event, say say) {
	if e.InterventionNeeded == report.No && len(e.Interventions) > 0 {
		say("/intervention_needed", "No intervention is said to have been needed, and yet one is listed.", "Answer yes, or remove the interventions.")
	}
}

func icuExceedsStay(e *report.Event, say say) {
	if less(e.UnplannedNights, e.ICUNights) {
		say("/icu_nights", "There are more nights in intensive care than unplanned nights in hospital.", "Count the nights in intensive care among the unplanned nights too.")
	}
}

func nightsAgainstHours(e *report.Event, say say) {
	nights, okN := e.UnplannedNights.Value()
	hours, okH := e.AdmissionH.Value()
	// n nights span more than n-1 days and fewer than n+1.
	if okN && okH && (hours < 24*(nights-1) || hours > 24*(nights+1)) {
		say("/admission_h", fmt.Sprintf("%g hours of admission and %g nights do not go together.", hours, nights), "Check both.")
	}
}

func deathNotFatal(e *report.Event, say say) {
	if e.Kind == report.EventDeath && report.Known(e.Outcome) && e.Outcome != report.OutcomeFatal {
		say("/outcome", "A death is reported with an outcome that is not fatal.", "Check kind and outcome.")
	}
}

func abortedAfterSession(e *report.Event, say say) {
	if e.Timing == report.AfterSession && e.ProcedureAborted == report.Yes {
		say("/procedure_aborted", "An event after the session cannot have broken it off.", "Check timing and answer.")
	}
}
