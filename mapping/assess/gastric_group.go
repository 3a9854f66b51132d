package assess

import "enbloc/mapping/report"

// ruleHistologyGroup groups the dominant type and reads a scar (JGCA
// classification and guidelines, 5th and 6th edition, web text II-B).
var ruleHistologyGroup = &rule{
	id: "R1.gastric.histology_group.jgca6", title: "Histology group and ulceration (JGCA)",
	from: jgca6, confirmed: Primary, scope: ScopeLesion,
	applies: func(k *look) bool {
		return inStomach(k) && (len(groupTypes(k)) > 0 || groupUlcer(k) != "" || handled(k))
	},
	cautions: []string{"Mixed lesions follow the type that prevails; the other types stand in order of amount."},
	table: []Row{
		{"pap, tub1, tub2", "differentiated", Primary},
		{"por1, por2, sig", "undifferentiated", Primary},
		{"muc in the submucosal part, whatever its origin", "undifferentiated", Primary},
		{"ulcer or ulcer scar", "UL1", Primary},
		{"scar of a biopsy or an ulcer, not to be told apart", "UL1", Primary},
		{"biopsy scar, no ulcer", "UL0", Primary},
	},
	ask: askHistologyGroup,
}

// groupTypes are the types after the resection, else before it.
func groupTypes(k *look) []report.HistologyType {
	if types := k.histology().Types; len(types) > 0 {
		return types
	}
	return k.examination().BiopsyTypes
}

func groupUlcer(k *look) report.Ulceration {
	if u := k.histology().Ulcer; u != "" {
		return u
	}
	return k.examination().Ulcer
}

func askHistologyGroup(r *rule, k *look) Result {
	group, ulcer := k.dominantGroup(), k.anyUlcer()
	seen, open := sorted(group, ulcer)
	if seen == 0 {
		return r.undecided(k, 0, open, "differentiated or undifferentiated, UL0 or UL1")
	}
	out := r.result(k)
	out.Values = map[string]any{}
	if group.known() {
		out.Answer = "undifferentiated"
		if group.sign == yes {
			out.Answer = "differentiated"
		}
		out.Values["group"] = out.Answer
	}
	if ulcer.known() {
		ul := map[truth]float64{no: 0, yes: 1}[ulcer.sign]
		out.Values["ul"] = ul
		if out.Answer != "" {
			out.Answer += ", "
		}
		out.Answer += "UL" + plain(ul)
	}
	out.Inputs, out.Missing = k.pointers(seen), k.gaps(open)
	out.Reason = "By type and scar: " + out.Answer + "."
	if open != 0 {
		out.Reason += " Open: " + k.lacking(open) + "."
	}
	return r.finish(k, out)
}

// dominantGroup is the group of the dominant type. Mucinous cancer counts as
// undifferentiated in the submucosa; elsewhere the text does not say.
func (k *look) dominantGroup() *finding {
	if len(k.histology().Types) == 0 {
		return k.clinicallyDifferentiated()
	}
	f := k.differentiated()
	if k.histology().Types[0] == report.TypeMuc && !k.histology().PT.Submucosal() {
		f.sign = unknown
		f.path, f.why = "/histology/pt", "mucinous, which is grouped in the submucosa only"
	}
	return f
}

func (k *look) anyUlcer() *finding {
	if k.histology().Ulcer != "" {
		return k.ulcerated()
	}
	return k.clinicallyUlcerated()
}
