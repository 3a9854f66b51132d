package assess

import (
	"strconv"

	"enbloc/mapping/report"
)

func wall(clip bool, readings string) map[string]any {
	return map[string]any{"clip_advised": clip, "clip_readings": readings}
}

const (
	discretion = "at discretion"
	clipped    = "clipped where possible"
)

// Sydney: Burgess, Gut 2017;66:1779. For type II the abstract leaves clips to
// discretion, a transcription of the paper says to clip all: both are shown,
// and no advice is drawn.
var ruleSydney = lookedUp(rule{
	id: "R9.ae.sydney_dmi", title: "Deep mural injury (Sydney)", from: burgess, confirmed: Primary, scope: ScopeLesion, applies: resected,
	cautions: []string{
		"Derived from colonic lesions of 20 mm and more; elsewhere it is an extension.",
		"A web page and a national data standard give other meanings for the types; those of the paper are used.",
	},
}, "type", "/resection/muscle_injury", "type of muscle injury", func(k *look) report.MuscleInjury { return k.resection().Muscle }, []entry[report.MuscleInjury]{
	{class: report.MuscleInjury0, then: "0", values: wall(false, "none"), confirmed: Transcription, reason: "Normal defect, a blue mat of crossing submucosal fibres"},
	{class: report.MuscleInjuryI, then: "I", values: wall(false, discretion), reason: "Muscle seen, intact, no fibrosis; clips at discretion"},
	{class: report.MuscleInjuryII, then: "II", values: wall(false, "at discretion (abstract); clip all (transcription of the paper)"),
		reason:  "Muscle intact, with fibrosis and focal loss of the plane",
		caution: "On clips for type II the readings differ: the abstract leaves them to discretion, a transcription of the paper says to clip all, the only delayed perforation being an unclipped type II. No advice is drawn."},
	{class: report.MuscleInjuryIII, then: "III", values: wall(true, clipped), reason: "Target sign; in the paper these were clipped where possible"},
	{class: report.MuscleInjuryIV, then: "IV", values: wall(true, clipped), reason: "Hole through the wall, clean; in the paper these were clipped where possible"},
	{class: report.MuscleInjuryV, then: "V", values: wall(true, clipped), reason: "Hole through the wall with contamination; in the paper these were clipped where possible"},
})

type syndrome struct{ hours, tender, temp, crp, wbc, perforated *finding }

func gatherSyndrome(k *look) syndrome {
	e := k.event
	hours := report.Number{}
	if !e.OccurredAt.IsZero() && !k.rep.Session.End.IsZero() {
		hours = report.Float(round(e.OccurredAt.At().Sub(k.rep.Session.End.At()).Hours(), 2))
	}
	return syndrome{
		hours: k.number("/occurred_at", "time after the session", "h", hours), tender: k.answer("/local_tenderness", "local tenderness", e.LocalTenderness),
		temp: k.number("/temp_c", "temperature", "°C", e.TempC), crp: k.number("/crp_mg_dl", "C-reactive protein", "mg/dL", e.CRPMgDl),
		wbc: k.number("/wbc_per_ul", "white cells", "per µL", e.WBCPerUl), perforated: k.perforated(),
	}
}

// perforated is whether a perforation of the same lesion is reported. That the
// event is called a coagulation syndrome says that none was found with it.
func (k *look) perforated() *finding {
	f := k.sign("/kind", "perforation", no, "", "present", "none")
	for i := range k.rep.Events {
		other := &k.rep.Events[i]
		if other.Kind == report.EventPerforation && !other.Retracted && (other.Lesion == k.event.Lesion || other.Lesion == 0) {
			f.base, f.path, f.sign = "", "/events/"+strconv.Itoa(i)+"/kind", yes
		}
	}
	return f
}

// Ito, J Gastroenterol Hepatol 2018;33:2001. All limits are strict.
var rulePECS = listed(rule{
	id: "R9.ae.pecs", title: "Coagulation syndrome (Ito's definition)", from: ito2018, confirmed: Primary, scope: ScopeEvent,
	applies: func(k *look) bool {
		return k.event != nil && k.event.Kind == report.EventCoagulation && (k.lesion == nil || inColorectum(k))
	},
	cautions: []string{"At least four definitions are in use, with rates from 4.8 to 40.2%: name the definition with any rate."},
}, "", gatherSyndrome, []row[syndrome]{
	{when: "perforation", then: "not-met", values: pecs(false), is: func(s syndrome) fact { return s.perforated.yes() }, reason: "There is a perforation: not a coagulation syndrome"},
	{when: "6 h after the resection or earlier", then: "not-met", values: pecs(false), is: func(s syndrome) fact { return s.hours.atMost(6) },
		reason: "It began no more than 6 h after: not this definition"},
	{when: "no local tenderness", then: "not-met", values: pecs(false), is: func(s syndrome) fact { return s.tender.no() }, reason: "No tenderness at the site: not this definition"},
	{when: "temperature above 37.5 °C, CRP above 0.5 mg/dL or white cells above 10,000 per µL", then: "met", values: pecs(true),
		is:     func(s syndrome) fact { return anyOf(s.temp.above(37.5), s.crp.above(0.5), s.wbc.above(10000)) },
		reason: "Tenderness at the site with a sign of inflammation, more than 6 h after and without perforation: the definition is met"},
	{when: "otherwise", then: "not-met", values: pecs(false), is: func(syndrome) fact { return always() }, reason: "Tenderness without a sign of inflammation: not this definition"},
})

func pecs(is bool) map[string]any { return map[string]any{"pecs": is} }
