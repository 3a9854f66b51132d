package assess

// Rules over a series of cases: the book lists them beside the others, package
// stats computes them, and no single report answers them.

func series(id, title string, from source, confirmed Confirmed, table ...Row) *rule {
	return &rule{id: id, title: title, from: from, confirmed: confirmed, scope: ScopeSeries, table: table,
		cautions: []string{"Needs a series of cases, not one report; state period, site and definitions with every rate."}}
}

var seriesRules = []*rule{
	series("R10.metric.expert_triple", "Expert marks over a series", expertMark, Primary,
		Row{"9 cm²/h or more, complications 5% or less, en bloc 90% or more", "expert", Primary}),
	series("R10.metric.curriculum_start", "Readiness to begin in people", curriculum, Primary,
		Row{"20 procedures on models or more; 8 or more en bloc and complete and no perforation in the last 10", "ready", Primary}),
	series("R10.metric.wilson", "Score interval of a rate", statistics, SecondHand,
		Row{"k of n", "(p+z²/2n ± z√(p(1−p)/n+z²/4n²))/(1+z²/n)", SecondHand}),
	series("R10.metric.exact_ci", "Exact interval of a rate", statistics, Primary,
		Row{"k of n", "quantiles of the beta distribution", Primary}),
	series("R10.metric.funnel_normal", "Funnel limits", statistics, SecondHand,
		Row{"target θ, n cases", "θ ± z√(θ(1−θ)/n), z 1.96 and 3.09, clipped to 0..1", SecondHand},
		Row{"the same, exact", "binomial quantiles divided by n", SecondHand}),
	series("R10.metric.lc_cusum", "Weights of the learning curve", statistics, SecondHand,
		Row{"success", "ln((1−acceptable)/(1−unacceptable))", SecondHand},
		Row{"failure", "ln(acceptable/unacceptable)", SecondHand}),
}
