package check

import (
	"fmt"

	"enbloc/mapping/report"
)

// reversed says that something ends before it starts.
func reversed(start, end report.Time, pointer, what string, say say) {
	if earlier(end, start) {
		say(pointer, what+" ends before it starts.", "Check start and end: date, time and zone.")
	}
}

func phaseEndBeforeStart(l *report.Lesion, _ *report.Report, say say) {
	for i, p := range resectionOf(l).Phases {
		reversed(p.Start, p.End, at("/resection/phases", i)+"/end", "The phase "+string(p.Step), say)
	}
}

func bleedingEndBeforeStart(l *report.Lesion, _ *report.Report, say say) {
	for i, b := range resectionOf(l).Bleeding {
		reversed(b.Start, b.End, at("/resection/bleeding", i)+"/end", "The bleeding", say)
	}
}

func closureEndBeforeStart(l *report.Lesion, _ *report.Report, say say) {
	c := closureOf(resectionOf(l))
	reversed(c.Start, c.End, "/resection/closure/end", "The closure", say)
}

func baseEndBeforeStart(l *report.Lesion, _ *report.Report, say say) {
	b := baseOf(resectionOf(l))
	reversed(b.Start, b.End, "/resection/base_coagulation/end", "The coagulation of the base", say)
}

// moment is one time of the resection and where it stands.
type moment struct {
	pointer string
	when    report.Time
}

// moments lists every time of a resection.
func moments(rs *report.Resection) []moment {
	c, b := closureOf(rs), baseOf(rs)
	all := []moment{
		{"/closure/start", c.Start}, {"/closure/end", c.End},
		{"/base_coagulation/start", b.Start}, {"/base_coagulation/end", b.End},
	}
	for i, p := range rs.Phases {
		all = append(all, moment{at("/phases", i) + "/start", p.Start}, moment{at("/phases", i) + "/end", p.End})
	}
	for i, b := range rs.Bleeding {
		all = append(all, moment{at("/bleeding", i) + "/start", b.Start}, moment{at("/bleeding", i) + "/end", b.End})
	}
	for i, j := range rs.Injections {
		all = append(all, moment{at("/injections", i) + "/given_at", j.GivenAt})
	}
	for i, v := range rs.Vessels {
		all = append(all, moment{at("/vessels", i) + "/at", v.At})
	}
	return all
}

func outsideSession(l *report.Lesion, r *report.Report, say say) {
	for _, m := range moments(resectionOf(l)) {
		if earlier(m.when, r.Session.Start) || earlier(r.Session.End, m.when) {
			say("/resection"+m.pointer, "The time lies outside the session.", "Check it against start and end of the session: date, time and zone.")
		}
	}
}

// firstStart is the earliest start of a step; the zero Time when it was not
// recorded.
func firstStart(rs *report.Resection, s report.Step) (first report.Time, index int) {
	for i, p := range rs.Phases {
		if p.Step == s && (first.IsZero() || earlier(p.Start, first)) {
			first, index = p.Start, i
		}
	}
	return first, index
}

func dissectionBeforeIncision(l *report.Lesion, _ *report.Report, say say) {
	rs := resectionOf(l)
	incision, _ := firstStart(rs, report.StepIncision)
	dissection, i := firstStart(rs, report.StepDissection)
	if earlier(dissection, incision) {
		say(at("/resection/phases", i)+"/start", fmt.Sprintf("The %s begins before the first %s.", report.StepDissection, report.StepIncision), "Check the times of both phases.")
	}
}
