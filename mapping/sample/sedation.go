package sample

import "enbloc/mapping/report"

// usualDose is the range of a total dose for a session of an hour or two;
// common practice, no source. Micrograms for the strong opioids.
type usualDose struct {
	drug   report.SedationDrug
	lo, hi int
	micro  bool
}

var (
	doses = []usualDose{
		{report.Propofol, 120, 700, false},
		{report.Midazolam, 2, 6, false},
		{report.Fentanyl, 50, 150, true},
		{report.Pethidine, 25, 75, false},
		{report.Butylscopol, 20, 20, false},
		{report.Remimazolam, 8, 25, false},
		{report.Remifentanil, 200, 900, true},
		{report.Ketamine, 20, 60, false},
		{report.Glucagon, 1, 1, false},
		{report.OtherDrug, 1, 10, false},
	}
	doseShare = []float64{0.45, 0.2, 0.1, 0.1, 0.08, 0.03, 0.02, 0.01, 0.005, 0.005}
	depths    = []report.SedationDepth{
		report.SedationDeep, report.SedationModerate, report.SedationGeneral, report.SedationMinimal, report.SedationNone,
	}
)

// sedation is depth and drugs; without sedation there is none to list.
func (s *session) sedation() *report.Sedation {
	out := &report.Sedation{Depth: one(s.dice, "sedation/depth", depths, 0.65, 0.2, 0.1, 0.03, 0.02)}
	if out.Depth == report.SedationNone || !s.has("sedation drugs") {
		return out
	}
	for _, u := range some(s.dice, "sedation/drug", doses, 1, 2, doseShare...) {
		out.Drugs = append(out.Drugs, s.dose(u))
	}
	return out
}

func (s *session) dose(u usualDose) report.Dose {
	d := report.Dose{
		Drug:    u.drug,
		Route:   plain(s.dice, "route", []report.Route{report.Intravenous, report.Intramuscular, report.Oral, report.Topical}, 0.98, 0.01, 0.005, 0.005),
		GivenAt: s.optionalTime("dose at", s.start.Add(-minutes(2))),
	}
	amount := float64(s.whole(u.lo, u.hi))
	if u.micro {
		d.DoseUg = s.stated("dose ug", amount, 0)
	} else {
		d.DoseMg = s.stated("dose mg", amount, 0)
	}
	return d
}
