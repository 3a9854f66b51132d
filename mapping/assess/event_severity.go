package assess

import "strings"

func anyEvent(k *look) bool { return k.event != nil }

// ASGE lexicon: Cotton, Gastrointest Endosc 2010;71:446, as tabulated in Gut
// 2015;64:1847, Table 3. The highest criterion met wins.
var ruleASGE = listed(rule{
	id: "R9.ae.asge2010", title: "Severity of the event (ASGE)", from: asge2010, confirmed: SecondHand, scope: ScopeEvent, applies: anyEvent, notes: sameSession,
	cautions: []string{"Another table prints \"for 3 nights\" where this one has up to 3. Bleeding and perforation have tables of their own in the United Kingdom, not seen."},
}, "severity", gatherEvent, []row[eventFacts]{
	{when: "death", then: "fatal", is: func(f eventFacts) fact { return f.death.yes() }, reason: "The patient died: fatal"},
	{when: "surgery", then: "severe", is: func(f eventFacts) fact { return f.surgery.yes() }, reason: "Surgery was needed: severe"},
	{when: "permanent disability", then: "severe", is: func(f eventFacts) fact { return f.disability.yes() }, reason: "Permanent disability: severe"},
	{when: "more than 10 unplanned nights", then: "severe", is: func(f eventFacts) fact { return f.nights.above(10) }, reason: "More than 10 unplanned nights: severe"},
	{when: "more than 1 night in intensive care", then: "severe", is: func(f eventFacts) fact { return f.icu.above(1) }, reason: "More than one night in intensive care: severe"},
	{when: "4 to 10 unplanned nights", then: "moderate", is: func(f eventFacts) fact { return f.nights.above(3) }, reason: "From 4 to 10 unplanned nights: moderate"},
	{when: "1 night in intensive care", then: "moderate", is: func(f eventFacts) fact { return f.icu.above(0) }, reason: "A night in intensive care: moderate"},
	{when: "transfusion", then: "moderate", is: func(f eventFacts) fact { return f.transfusion.yes() }, reason: "Blood was transfused: moderate"},
	{when: "repeat endoscopy or interventional radiology", then: "moderate", is: func(f eventFacts) fact { return f.endoscopic.yes() },
		reason: "A repeat endoscopy or radiological intervention: moderate"},
	{when: "unplanned ventilatory support", then: "moderate", is: func(f eventFacts) fact { return f.ventilation.yes() }, reason: "Unplanned ventilatory support: moderate"},
	{when: "procedure aborted", then: "mild", is: func(f eventFacts) fact { return f.aborted.yes() }, reason: "The procedure was aborted: mild"},
	{when: "unplanned consultation", then: "mild", is: func(f eventFacts) fact { return f.visit.yes() }, reason: "An unplanned consultation: mild"},
	{when: "up to 3 unplanned nights", then: "mild", is: func(f eventFacts) fact { return f.nights.above(0) }, reason: "Up to 3 unplanned nights: mild"},
	{when: "no effect on the course", then: "incident", is: func(eventFacts) fact { return always() },
		reason: "No criterion is met: an incident, recorded but not an adverse event in this lexicon"},
})

const cut24 = "Exactly 24 h is undefined in the source and counted as grade II."

// AGREE: Nass, Gastrointest Endosc 2022;95:1078. Grades IIIb to V rest on the
// parent scale or on elimination; Clavien-Dindo splits III otherwise.
var ruleAGREE = listed(rule{
	id: "R9.ae.agree2022", title: "Severity of the event (AGREE)", from: agree2022, confirmed: SecondHand, scope: ScopeEvent, applies: anyEvent,
	cautions: []string{"Events within 30 days count whatever their cause. Clavien-Dindo IIIa and IIIb mean something else and must not be mixed in."},
	notes: func(k *look) string {
		if h, ok := k.event.AdmissionH.Value(); ok && h == 24 {
			return strings.TrimSpace(cut24 + " " + sameSession(k))
		}
		return sameSession(k)
	},
}, "grade", gatherEvent, []row[eventFacts]{
	{when: "death", then: "V", confirmed: Memory, is: func(f eventFacts) fact { return f.death.yes() }, reason: "The patient died: grade V"},
	{when: "failure of several organs needing intensive care", then: "IVb", confirmed: Memory, is: func(f eventFacts) fact { return f.organs.atLeast(2) },
		reason: "More than one organ failed: grade IVb"},
	{when: "failure of one organ needing intensive care", then: "IVa", confirmed: Memory, is: func(f eventFacts) fact { return f.organs.atLeast(1) },
		reason: "One organ failed: grade IVa"},
	{when: "surgical intervention", then: "IIIb", confirmed: Memory, is: func(f eventFacts) fact { return f.surgery.yes() }, reason: "Surgery was needed: grade IIIb",
		caution: "The label IIIb was concluded: the table seen has surgical intervention in III and only endoscopic and radiological in IIIa."},
	{when: "endoscopic or radiological intervention", then: "IIIa", is: func(f eventFacts) fact { return f.endoscopic.yes() },
		reason: "An endoscopic or radiological intervention was needed: grade IIIa"},
	{when: "transfusion", then: "II", is: func(f eventFacts) fact { return f.transfusion.yes() }, reason: "Blood was transfused: grade II"},
	{when: "drugs beyond antiemetics, antipyretics, analgesics and electrolytes", then: "II", is: func(f eventFacts) fact { return f.drugs.yes() },
		reason: "Drugs beyond supportive ones were needed: grade II"},
	{when: "admission of 24 h or more", then: "II", is: func(f eventFacts) fact { return f.hours.atLeast(24) }, reason: "Admitted for 24 h or more: grade II"},
	{when: "admission below 24 h", then: "I", is: func(f eventFacts) fact { return f.hours.above(0) }, reason: "Admitted for less than 24 h without intervention: grade I"},
	{when: "emergency visit", then: "I", is: func(f eventFacts) fact { return f.emergency.yes() }, reason: "An emergency visit without intervention: grade I"},
	{when: "supportive drugs", then: "I", is: func(f eventFacts) fact { return f.supportive.yes() }, reason: "Supportive drugs only: grade I"},
	{when: "longer observation of 3 h or more", then: "I", is: func(f eventFacts) fact { return f.observation.atLeast(3) },
		reason: "Observed for 3 h longer or more: grade I"},
	{when: "contact without intervention, or observation below 3 h", then: "none", is: func(eventFacts) fact { return always() },
		reason: "No more than a contact or a short observation without intervention: no adverse event in this scale"},
})
