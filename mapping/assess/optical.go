package assess

import (
	"slices"

	"enbloc/mapping/report"
)

func reading(advice string) map[string]any { return map[string]any{"advice": advice} }

// NICE: Diagn Ther Endosc 2012:173269, Table 2.
var ruleNICE = lookedUp(rule{
	id: "R6.colorectal.nice", title: "Reading of the NICE class", from: niceTable, confirmed: SecondHand, scope: ScopeLesion, applies: inColorectum,
	cautions: []string{"An optical reading; histology decides."},
}, "histology", "/examination/nice", "NICE class", func(k *look) report.NICE { return k.examination().NICE }, []entry[report.NICE]{
	{class: "1", then: "hyperplastic", values: reading("leave or resect (from memory)"),
		reason: "NICE 1: likely hyperplastic", caution: "That NICE 1 may be left or resected is from memory."},
	{class: "2", then: "adenoma (incl. superficial SM cancer)", values: reading("resect"),
		reason: "NICE 2: likely adenoma, superficial submucosal cancer included; the table names resection"},
	{class: "3", then: "deep SM cancer", values: reading("surgery"), reason: "NICE 3: likely deep submucosal cancer; the table names surgery"},
})

// jnetType is one row of the JNET table: World J Gastroenterol 2023;29:2600,
// Table 1; Korean J Gastroenterol 2020;75:264, Table 6.
type jnetType struct {
	class      report.JNET
	vessel     report.JNETVessel
	surface    report.JNETSurface
	histology  string
	management string
	confirmed  Confirmed
}

var jnetTypes = []jnetType{
	{report.JNET1, report.VesselInvisible, report.SurfaceSpots, "hyperplastic/SSL", "follow-up or resect", SecondHand},
	{report.JNET2A, report.VesselRegular, report.SurfaceRegular, "low-grade intramucosal", "endoscopic", SecondHand},
	{report.JNET2B, report.VesselVariable, report.SurfaceIrregular, "high-grade intramucosal/shallow SM", "magnifying chromoendoscopy first (from memory)", Memory},
	{report.JNET3, report.VesselLoose, report.SurfaceAmorphous, "deep SM", "surgery", SecondHand},
}

var ruleJNET = &rule{
	id: "R6.colorectal.jnet", title: "Reading of the JNET class", from: jnetTable, confirmed: SecondHand, scope: ScopeLesion,
	applies: func(k *look) bool {
		e := k.examination()
		return inColorectum(k) && (e.JNET != "" || e.JNETVessel != "" || e.JNETSurface != "")
	},
	cautions: []string{"An optical reading; histology decides. Type 2B ranges from low-grade to deep submucosal."},
	table:    jnetTable4(),
	ask:      askJNET,
}

func jnetTable4() []Row {
	var rows []Row
	for _, t := range jnetTypes {
		rows = append(rows, Row{"vessel " + string(t.vessel) + ", surface " + string(t.surface), string(t.class) + ": " + t.histology + "; " + t.management, t.confirmed})
	}
	return rows
}

// askJNET takes the stated class, else the one on which vessel and surface
// agree. Where they do not, the answer is left open.
func askJNET(r *rule, k *look) Result {
	e := k.examination()
	vessel := slices.IndexFunc(jnetTypes, func(t jnetType) bool { return t.vessel == e.JNETVessel })
	surface := slices.IndexFunc(jnetTypes, func(t jnetType) bool { return t.surface == e.JNETSurface })
	stated := slices.IndexFunc(jnetTypes, func(t jnetType) bool { return t.class == e.JNET })
	class := k.sign("/examination/jnet", "JNET class", truthOf(stated >= 0), why(report.AbsenceOf(e.JNET)), "", "")
	v := k.sign("/examination/jnet_vessel", "vessel pattern", truthOf(vessel >= 0), why(report.AbsenceOf(e.JNETVessel)), "", "")
	s := k.sign("/examination/jnet_surface", "surface pattern", truthOf(surface >= 0), why(report.AbsenceOf(e.JNETSurface)), "", "")
	switch {
	case stated >= 0:
		note := ""
		if vessel >= 0 && vessel != stated || surface >= 0 && surface != stated {
			note = "The vessel or surface pattern that is reported belongs to another type."
		}
		return r.fromJNET(k, jnetTypes[stated], class.bit, note)
	case vessel < 0 || surface < 0:
		var open set
		for _, f := range []*finding{v, s} {
			if f.sign != yes {
				open |= f.bit
			}
		}
		return r.undecided(k, (v.bit|s.bit)&^open, open, "the type, when vessel and surface agree")
	case vessel != surface:
		out := r.result(k)
		out.Answer = "undetermined"
		out.Inputs = k.pointers(v.bit | s.bit)
		out.Reason = "The vessels are those of type " + string(jnetTypes[vessel].class) + ", the surface is that of type " + string(jnetTypes[surface].class) + "."
		return r.finish(k, out)
	}
	return r.fromJNET(k, jnetTypes[vessel], v.bit|s.bit, "")
}

func (r *rule) fromJNET(k *look, t jnetType, seen set, note string) Result {
	out := r.result(k)
	out.Answer = string(t.class)
	out.Confirmed = t.confirmed
	out.Values = map[string]any{"type": string(t.class), "histology": t.histology, "management": t.management}
	out.Inputs = k.pointers(seen)
	out.Reason = "JNET " + string(t.class) + ": likely " + lesionsInWords(t.histology) + "; the table names " + stepInWords(t.management) + "."
	if t.confirmed == Memory {
		note += "For type 2B the pattern and the likely histology were read second-hand; the next step is from memory."
	}
	return r.finish(k, out, note)
}

type pits struct{ invasive, severe, mild, neoplastic, adenoma *finding }

func gatherPits(k *look) pits {
	has := func(name string, classes ...report.Kudo) *finding {
		return k.sign("/examination/kudo", name, truthOf(slices.ContainsFunc(k.examination().Kudo, func(p report.Kudo) bool {
			return slices.Contains(classes, p)
		})), "", "present", "absent")
	}
	return pits{
		invasive: has("type VN", report.KudoVN), severe: has("severe type VI", report.KudoVISevere), mild: has("mild type VI", report.KudoVIMild),
		adenoma: has("type III or IV", report.KudoIIIS, report.KudoIIIL, report.KudoIV), neoplastic: has("type I or II", report.KudoI, report.KudoII),
	}
}

func pitsSeen(k *look) bool { return inColorectum(k) && len(k.examination().Kudo) > 0 }

// Kudo's classes as commonly taught; from memory, and so off by default.
var ruleKudo = listed(rule{
	id: "R6.colorectal.kudo", title: "Reading of the pit pattern", from: kudoTable, confirmed: Memory, scope: ScopeLesion, applies: pitsSeen,
}, "histology", gatherPits, []row[pits]{
	{when: "VI or VN", then: "invasive", is: func(p pits) fact { return anyOf(p.invasive.yes(), p.severe.yes(), p.mild.yes()) }, reason: "A type V pattern: invasive"},
	{when: "IIIS, IIIL or IV", then: "adenoma", is: func(p pits) fact { return p.adenoma.yes() }, reason: "A type III or IV pattern: adenoma"},
	{when: "I or II", then: "non-neoplastic", is: func(pits) fact { return always() }, reason: "A type I or II pattern: non-neoplastic"},
})

// Type V: World J Gastroenterol 2008;14:211.
var ruleKudoVI = listed(rule{
	id: "R6.colorectal.kudo_vi", title: "Depth by the type V pit pattern", from: kudoVI, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool {
		return inColorectum(k) && slices.ContainsFunc(k.examination().Kudo, func(p report.Kudo) bool {
			return oneOf(p, report.KudoVIMild, report.KudoVISevere, report.KudoVN)
		})
	},
	cautions: []string{"An optical reading; histology decides."},
}, "depth", gatherPits, []row[pits]{
	{when: "VN", then: "massive-SM", is: func(p pits) fact { return p.invasive.yes() }, reason: "Type VN predicts massive submucosal invasion"},
	{when: "VI, severe irregularity", then: "massive-SM", is: func(p pits) fact { return p.severe.yes() },
		reason: "Severe irregularity predicts massive submucosal invasion",
		risk:   &Risk{Of: "submucosal invasion of 1000 µm or more", Pct: 56.1, Setting: "type VI with severe irregularity"}},
	{when: "VI, mild irregularity", then: "dysplasia-or-shallow-SM", is: func(pits) fact { return always() },
		reason: "Mild irregularity: mostly dysplasia or less than 1000 µm",
		risk:   &Risk{Of: "dysplasia or submucosal invasion below 1000 µm", Pct: 93.3, Setting: "type VI with mild irregularity"}},
})
