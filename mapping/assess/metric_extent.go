package assess

// Definitions of how a resection came out: Park, Korean J Gastroenterol
// 2020;75:264, Table 1, and the wording of ESGE 2022.

type extent struct {
	bloc   oneBloc
	hm, vm *finding
}

func gatherExtent(k *look) extent {
	return extent{bloc: k.oneBloc(), hm: k.horizontalMargin(), vm: k.verticalMargin()}
}

func resected(k *look) bool { return k.lesion.Resection != nil }

// notEnBloc are the rows on which a lesion is not en bloc.
var notEnBloc = []row[extent]{
	{when: "more than one piece", is: func(e extent) fact { return e.bloc.pieces.above(1) },
		reason: "The lesion came out in more than one piece"},
	{when: "lesion left in place, as seen", is: func(e extent) fact { return e.bloc.residual.yes() },
		reason: "Lesion was seen to be left in place"},
}

// marginsPositive are the rows on which a margin is not clear.
var marginsPositive = []row[extent]{
	{when: "HM1", is: func(e extent) fact { return e.hm.yes() }, reason: "The horizontal margin is positive"},
	{when: "VM1", is: func(e extent) fact { return e.vm.yes() }, reason: "The vertical margin is positive"},
}

// verdict gives every row the same class and value.
func verdict(rows []row[extent], then string, values map[string]any) []row[extent] {
	out := make([]row[extent], len(rows))
	for i, r := range rows {
		r.then, r.values = then, values
		out[i] = r
	}
	return out
}

func otherwise(then, reason string, values map[string]any) row[extent] {
	return row[extent]{when: "otherwise", is: func(extent) fact { return always() }, then: then, reason: reason, values: values}
}

var ruleEnBloc = listed(rule{
	id: "R10.metric.en_bloc", title: "En bloc resection", from: korea2020, confirmed: Primary, scope: ScopeLesion, applies: resected,
}, "", gatherExtent, append(
	verdict(notEnBloc, "no", map[string]any{"en_bloc": false}),
	otherwise("yes", "The lesion came out in one piece, and none of it was seen left in place", map[string]any{"en_bloc": true})))

var ruleComplete = listed(rule{
	id: "R10.metric.complete.korea2020", title: "Complete resection (margins under the microscope)", from: korea2020,
	confirmed: Primary, scope: ScopeLesion, applies: resected,
	cautions: []string{"This wording looks at the margins only; the ESGE wording of R0 also needs en bloc."},
}, "", gatherExtent, append(
	verdict(marginsPositive, "no", map[string]any{"complete": false}),
	otherwise("yes", "No tumour at the horizontal and vertical margins", map[string]any{"complete": true})))

var ruleR0 = listed(rule{
	id: "R10.metric.r0", title: "R0 resection", from: esge2022, confirmed: Primary, scope: ScopeLesion, applies: resected,
	cautions: []string{"RX is neither R0 nor R1: a margin that could not be assessed leaves the answer open."},
}, "", gatherExtent, append(append(
	verdict(notEnBloc, "no", map[string]any{"r0": false}),
	verdict(marginsPositive, "no", map[string]any{"r0": false})...),
	otherwise("yes", "En bloc, and no tumour at the horizontal and vertical margins", map[string]any{"r0": true})))

// ruleDefinitions gives both answers of the table at once.
var ruleDefinitions = &rule{
	id: "R10.metric.definitions", title: "How the resection came out", from: korea2020, confirmed: Primary,
	scope: ScopeLesion, applies: resected,
	cautions: []string{"R0 is given for en bloc resections only (ESGE wording); the Korean table defines complete resection by the margins alone."},
	table: []Row{
		{"one piece and no visible residual lesion", "en bloc", Primary},
		{"en bloc, no tumour at the horizontal and vertical margins", "complete (R0)", Primary},
	},
	ask: askDefinitions,
}

func askDefinitions(r *rule, k *look) Result {
	e := gatherExtent(k)
	whole := e.bloc.whole()
	r0 := all(whole, clear(e.hm, e.vm))
	seen, open := whole.seen|r0.seen, whole.open|r0.open
	if whole.is == unknown {
		return r.undecided(k, seen, open, "whether the resection is en bloc")
	}
	out := r.result(k)
	out.Values = map[string]any{"en_bloc": whole.is == yes}
	out.Inputs = k.pointers(seen)
	switch {
	case whole.is == no:
		out.Answer, out.Reason = "not-en-bloc", "Not en bloc, and so not R0."
	case r0.is == yes:
		out.Answer, out.Reason = "complete-r0", "En bloc with clear margins: complete (R0)."
	case r0.is == no:
		out.Answer, out.Reason = "en-bloc-not-complete", "En bloc, but a margin is positive."
	default:
		out.Answer, out.Missing = "en-bloc", k.gaps(open)
		out.Reason = "En bloc; whether complete cannot be assessed: " + k.lacking(open) + "."
		out.Decides = "complete (R0) if both margins are clear"
		return r.finish(k, out)
	}
	out.Values["complete_r0"] = r0.is == yes
	return r.finish(k, out)
}
