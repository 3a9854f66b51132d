package assess

import (
	"strconv"
	"time"

	"enbloc/mapping/report"
)

func lateBleeding(k *look) bool {
	return k.event != nil && k.event.Kind == report.EventBleeding && k.event.Timing == report.AfterSession
}

// dayAfter is the number of calendar days from the end of the session to the
// event, each in the zone it was written in.
func (k *look) dayAfter() *finding {
	at, path := k.event.OccurredAt, "/occurred_at"
	if at.IsZero() {
		at, path = k.event.RecognisedAt, "/recognised_at"
	}
	day := report.Number{}
	from, errFrom := time.Parse(time.DateOnly, k.rep.Session.End.Day())
	to, errTo := time.Parse(time.DateOnly, at.Day())
	if errFrom == nil && errTo == nil {
		day = report.Int(int(to.Sub(from).Hours()) / 24)
	}
	f := k.number(path, "days after the session", "", day)
	f.lack = "/occurred_at"
	return f
}

// bled is whether bleeding showed by a sign. An empty list of symptoms says
// that there was none; no list says nothing.
func (k *look) bled() *finding {
	f := k.sign("/symptoms", "clinical sign of bleeding", unknown, "not reported", "present", "none")
	if k.event.Symptoms != nil {
		f.sign = no
	}
	for i, s := range k.event.Symptoms {
		if oneOf(s, report.Haematemesis, report.Melaena, report.Haematochezia) {
			f.path, f.sign = "/symptoms/"+strconv.Itoa(i), yes
			return f
		}
	}
	if f.sign == no && len(k.event.Symptoms) > 0 && k.event.Unstable == report.Yes {
		f.path, f.sign = "/haemodynamically_unstable", yes
	}
	return f
}

// ruleWindows holds a late bleeding against three published definitions, each
// by itself.
var ruleWindows = &rule{
	id: "R9.ae.delayed_bleed_window", title: "Delayed bleeding by definition", from: windows, confirmed: Primary, scope: ScopeEvent, applies: lateBleeding,
	cautions: []string{"15 days belong to GSEED-RE (colorectal EMR), 28 days to gastric ESD, 30 days to colorectal ESD and polypectomy: each rate to its own definition."},
	table: []Row{
		{"clinical bleeding within 15 days", "delayed bleeding, GSEED-RE", Primary},
		{"clinical bleeding confirmed at emergency endoscopy within 28 days", "delayed bleeding, gastric ESD", Primary},
		{"clinical bleeding within 30 days", "delayed bleeding, colorectal", Primary},
	},
	ask: askWindows,
}

func askWindows(r *rule, k *look) Result {
	day, bled := k.dayAfter(), k.bled()
	emergency := k.answer("/emergency_endoscopy", "emergency endoscopy", k.event.EmergencyEndoscopy)
	met := map[string]fact{
		"def15": all(bled.yes(), day.atMost(15)),
		"def28": all(bled.yes(), day.atMost(28), emergency.yes()),
		"def30": all(bled.yes(), day.atMost(30)),
	}
	var seen, open set
	out := r.result(k)
	out.Values = map[string]any{}
	words := ""
	for _, w := range []struct{ key, days string }{{"def15", "15 days"}, {"def28", "28 days"}, {"def30", "30 days"}} {
		f := met[w.key]
		seen, open = seen|f.seen, open|f.open
		if f.is != unknown {
			out.Values[w.key] = f.is == yes
		}
		if f.is == yes {
			words += ", " + w.days
		}
	}
	if len(out.Values) == 0 {
		return r.undecided(k, seen, open, "which of the definitions of 15, 28 and 30 days are met")
	}
	out.Inputs, out.Missing = k.pointers(seen), k.gaps(open)
	out.Answer = "none"
	if words != "" {
		out.Answer = words[2:]
	}
	out.Reason = k.because("Counts as delayed bleeding by these definitions: "+out.Answer, seen)
	if open != 0 {
		out.Reason += " Open: " + k.lacking(open) + "."
		out.Decides = "whether the definition of gastric ESD (28 days) is met"
	}
	return r.finish(k, out)
}

type bleedSigns struct{ stool, unstable, fall *finding }

// Libânio, Endosc Int Open 2017;5:E563: after gastric ESD any one of three.
var ruleHbFall = listed(rule{
	id: "R9.ae.hb_fall", title: "Bleeding after gastric ESD by criterion", from: libanio, confirmed: Primary, scope: ScopeEvent,
	applies: func(k *look) bool {
		return lateBleeding(k) && (k.lesion == nil || k.lesion.Examination.Organ == report.Stomach)
	},
	cautions: []string{"The fall counts above 2.0 g/dL here; others are remembered to take 2 g/dL and more, so the value itself is given."},
}, "criterion", func(k *look) bleedSigns {
	e := k.event
	s := bleedSigns{stool: k.sign("/symptoms", "melaena or haematochezia", unknown, "not reported", "present", "none"),
		unstable: k.answer("/haemodynamically_unstable", "unstable circulation", e.Unstable)}
	if e.Symptoms != nil {
		s.stool.sign = truthOf(oneOf(report.Melaena, e.Symptoms...) || oneOf(report.Haematochezia, e.Symptoms...))
	}
	before, known := e.HbBeforeGDl.Value()
	after, then := e.HbAfterGDl.Value()
	fall := report.Number{}
	if known && then {
		fall = report.Float(round(before-after, 2))
	}
	s.fall = k.number("/hb_after_g_dl", "fall of haemoglobin", "g/dL", fall)
	if then && !known {
		s.fall.lack = "/hb_before_g_dl"
	}
	return s
}, []row[bleedSigns]{
	{when: "melaena or haematochezia", then: "met", is: func(s bleedSigns) fact { return s.stool.yes() }, reason: "Blood in the stool: the criterion is met"},
	{when: "unstable vital signs", then: "met", is: func(s bleedSigns) fact { return s.unstable.yes() }, reason: "The circulation was unstable: the criterion is met"},
	{when: "haemoglobin fell by more than 2.0 g/dL", then: "met", is: func(s bleedSigns) fact { return s.fall.above(2) }, reason: "Haemoglobin fell by more than 2.0 g/dL: the criterion is met"},
	{when: "none of these", then: "not-met", is: func(bleedSigns) fact { return always() }, reason: "None of the three is there: the criterion is not met"},
})
