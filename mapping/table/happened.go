package table

import "enbloc/mapping/report"

// This file folds the events of a case into one cell per resection. That no
// event is on record does not show that none happened: such a cell reads
// none-recorded, and whoever counts it as "no" has to say so.

const (
	ruleWindows  = "R9.ae.delayed_bleed_window"
	noneRecorded = "none-recorded"
	cannotAssess = "cannot-be-assessed"
)

type truth int

const (
	no truth = iota
	unknown
	yes
)

func is(b bool) truth {
	if b {
		return yes
	}
	return no
}

// concerns is whether an event came from the row's lesion. An event that names
// no lesion came from the only one that was resected; with several, nobody
// knows.
func (a *at) concerns(e *report.Event) truth {
	switch {
	case e.Retracted:
		return no
	case e.Lesion != 0:
		return is(e.Lesion == a.lesion.Number)
	case resections(a.c) > 1:
		return unknown
	}
	return yes
}

// eventful is yes when an event of the lesion is what is asked for,
// cannot-be-assessed when one may be, and none-recorded otherwise.
func (a *at) eventful(asked func(e *report.Event) truth) string {
	best := no
	for i := range a.c.Report.Events {
		e := &a.c.Report.Events[i]
		best = max(best, min(a.concerns(e), asked(e)))
	}
	return [...]string{no: noneRecorded, unknown: cannotAssess, yes: string(report.Yes)}[best]
}

func perforation(a *at) string {
	switch a.lesion.Resection.Muscle {
	case report.MuscleInjuryIV, report.MuscleInjuryV:
		return string(report.Yes)
	}
	recorded := a.eventful(func(e *report.Event) truth { return is(e.Kind == report.EventPerforation) })
	if recorded == noneRecorded {
		// Only who looked at the muscle can say that there was no hole.
		if report.Known(a.lesion.Resection.Muscle) {
			return string(report.No)
		}
		return cannotAssess
	}
	return recorded
}

// bledWithin asks the rule of the windows about every late bleeding.
func bledWithin(definition string) func(a *at) string {
	return func(a *at) string {
		bled := false
		met := a.eventful(func(e *report.Event) truth {
			if e.Kind != report.EventBleeding || e.Timing != report.AfterSession {
				return no
			}
			bled = bled || a.concerns(e) == yes
			for _, r := range answersOf(a.c, 0, e.ID) {
				if r.Rule != ruleWindows {
					continue
				}
				if v, known := r.Values[definition].(bool); known {
					return is(v)
				}
			}
			return unknown
		})
		if met == noneRecorded && bled {
			return string(report.No) // it bled, but not by this definition
		}
		return met
	}
}

func surgery(a *at) string {
	recorded := a.eventful(func(e *report.Event) truth {
		for _, in := range e.Interventions {
			if in.Kind == report.InterveneSurgery {
				return yes
			}
		}
		return no
	})
	if recorded == string(report.Yes) || a.c.Report.Plan == nil {
		return recorded
	}
	for _, r := range a.c.Report.Plan.Referrals {
		switch {
		case r.To != report.ToSurgery:
		case r.Lesion == a.lesion.Number, r.Lesion == 0 && resections(a.c) == 1:
			return string(report.Yes)
		case r.Lesion == 0:
			recorded = cannotAssess
		}
	}
	return recorded
}
