package assess

// Curative resection is complete resection with minimal or no risk of lymph
// node metastasis; where that line runs is each guideline's own (Park, Korean
// J Gastroenterol 2020;75:264, Table 1). So there is one answer per guideline.

func curative(id, title string, from source, by string, applies func(k *look) bool, classes map[string]string, rules ...*rule) *rule {
	r := &rule{id: id, title: title, from: from, confirmed: SecondHand, scope: ScopeLesion,
		cautions: []string{"Follows the class that the same guideline gives; see there for its source and cautions."},
		applies:  func(k *look) bool { return applies(k) && k.resection().Technique != "" },
		table: []Row{
			{by + " that is curative", "yes", SecondHand},
			{by + " that is not", "no", SecondHand},
		},
	}
	r.ask = func(r *rule, k *look) Result {
		for _, other := range rules {
			k.reset()
			if !other.applies(k) {
				continue
			}
			k.reset()
			return r.fromClass(k, other.ask(other, k), classes)
		}
		return r.unconcerned(k, "The guideline gives no class for this lesion.", k.occasion())
	}
	return r
}

// fromClass turns the class of another rule into yes or no.
func (r *rule) fromClass(k *look, class Result, classes map[string]string) Result {
	out := r.result(k)
	out.Confirmed, out.Inputs, out.Missing, out.Decides = class.Confirmed, class.Inputs, class.Missing, class.Decides
	switch answer := classes[class.Answer]; {
	case answer != "":
		out.Answer = answer
		out.Reason = "Follows from the class: " + class.Text() + "."
		if answer != "undetermined" {
			out.Values = map[string]any{"curative": answer == "yes"}
		}
	default: // cannot be assessed, or not applicable: for the same reason
		out.Answer, out.Reason = class.Answer, class.Reason
	}
	return r.finish(k, out)
}

var ruleCurativeESGE = curative("R10.metric.curative.esge2022", "Curative resection (ESGE)", esge2022, "risk class",
	func(k *look) bool {
		return gastricSpecimen(k) || colorectalSpecimen(k) || inOesophagus(k) && handled(k)
	},
	map[string]string{"very-low": "yes", "low": "yes", "local": "no", "high": "no", "undetermined": "undetermined"},
	ruleGastricESGE, ruleSquamousESGE, ruleBarrettESGE, ruleColorectalESGE)

var ruleCurativeJGES = curative("R10.metric.curative.jges2020", "Curative resection (JGES/JGCA)", jges2020, "eCura grade",
	gastricSpecimen, map[string]string{"A": "yes", "B": "yes", "C-1": "no", "C-2": "no"}, ruleECura)

var ruleCurativeJES = curative("R10.metric.curative.jes", "Curative resection (JES/JGES, squamous)", jesJGES, "verdict",
	squamousSpecimen, map[string]string{
		"curative": "yes", "non-curative, further treatment recommended": "no", "non-curative, further treatment undetermined": "no",
	}, ruleSquamousJES)
