package sample

import (
	"time"

	"enbloc/mapping/report"
)

// session is a case in the making.
type session struct {
	*dice
	name        string
	kind        report.SessionKind
	start, end  time.Time
	clock       time.Time                    // how far the session has come
	began       time.Time                    // when work on the present lesion began
	spans       map[report.Step][2]time.Time // of the present lesion, start and end
	lesionCount int
	status      report.Status
	histologyBy string   // "part", "report" or "pending"
	courses     []course // one a lesion, in order

	rep       report.Report
	histology []report.HistologyPart
	events    []report.EventsPart
}

// sessionKinds with their shares; the organs that each reaches.
var (
	sessionKinds = []report.SessionKind{report.UpperEndoscopy, report.Colonoscopy, report.Sigmoidoscopy, report.Enteroscopy}
	sessionShare = []float64{0.66, 0.31, 0.02, 0.01}

	organsReached = map[report.SessionKind][]report.Organ{
		report.UpperEndoscopy: {report.Stomach, report.Oesophagus, report.Duodenum},
		report.Colonoscopy:    {report.Colon, report.Rectum},
		report.Sigmoidoscopy:  {report.Rectum},
		report.Enteroscopy:    {report.Duodenum},
	}
	organShare = map[report.SessionKind][]float64{
		report.UpperEndoscopy: {0.70, 0.22, 0.08},
		report.Colonoscopy:    {0.65, 0.35},
		report.Sigmoidoscopy:  {1},
		report.Enteroscopy:    {1},
	}
)

func newSession(d *dice, name string) *session {
	s := &session{dice: d, name: name}
	s.kind = pick(d, "session/kind", sessionKinds, sessionShare...)
	s.start = d.morning()
	s.clock = s.start.Add(minutes(float64(d.whole(6, 20))))
	s.lesionCount = pick(d, "lesions", []int{1, 2, 3}, s.even(0.86, 0.11, 0.03)...)
	s.status = pick(d, "status", statuses, statusShare...)
	s.histologyBy = pick(d, "histology by", []string{"part", "report", "pending"}, s.either([]float64{0.85, 0.05, 0.10}, []float64{0.8, 0.1, 0.1})...)
	if s.status == report.Draft {
		s.histologyBy = "pending"
	}
	return s
}

// morning is a start between 08:00 and 15:59 on a weekday from January to
// September 2026, so that everything that follows stays within the year.
func (d *dice) morning() time.Time {
	day := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 7*d.rng.IntN(36)+d.rng.IntN(5))
	return day.Add(minutes(float64(d.whole(7*60, 15*60))))
}

func minutes(v float64) time.Duration {
	return time.Duration(v * float64(time.Minute)).Round(time.Minute)
}

// Central European Time and its summer time of 2026 (last Sundays of March and
// October, at 01:00 UTC).
var (
	winter      = time.FixedZone("CET", 3600)
	summer      = time.FixedZone("CEST", 7200)
	summerBegin = time.Date(2026, 3, 29, 1, 0, 0, 0, time.UTC)
	summerEnd   = time.Date(2026, 10, 25, 1, 0, 0, 0, time.UTC)
)

// local is the moment as a clock on the wall shows it.
func local(at time.Time) time.Time {
	if at.Before(summerBegin) || !at.Before(summerEnd) {
		return at.In(winter)
	}
	return at.In(summer)
}

// stamp writes a moment into the report.
func stamp(at time.Time) report.Time {
	parsed, err := report.ParseTime(local(at).Format(time.RFC3339))
	if err != nil {
		panic(err) // a time made here is always one
	}
	return parsed
}

// day is the calendar day some days after a moment.
func day(at time.Time, days int) report.Date {
	return report.Date(local(at.AddDate(0, 0, days)).Format(time.DateOnly))
}

// optionalTime is the moment or nothing.
func (s *session) optionalTime(field string, at time.Time) report.Time {
	if !s.has(field) {
		return report.Time{}
	}
	return stamp(at)
}

// id makes an identifier of one of the invented hospital's systems.
func (s *session) id(system, suffix string) report.Identifier {
	return report.Identifier{System: "https://hospital.example/sid/" + system, Value: "HTEST-" + s.name + suffix}
}

// optionalID is an identifier or nothing.
func (s *session) optionalID(field, system, suffix string) *report.Identifier {
	if !s.has(field) {
		return nil
	}
	id := s.id(system, suffix)
	return &id
}

// staff is somebody of the invented hospital; the same few come back in every
// case, so that a cohort can be looked at by operator.
func (s *session) staff(role string, of int) report.Identifier {
	return report.Identifier{
		System: "https://hospital.example/sid/practitioner",
		Value:  "HTEST-" + role + "-" + string(rune('A'+s.rng.IntN(of))),
	}
}
