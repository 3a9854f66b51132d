package assess

// registry is every rule, in the order in which they are asked and printed.
var registry = []*rule{
	ruleECura, ruleGastricESGE,
	ruleBestJ,
	ruleDefinitions, ruleEnBloc, ruleComplete, ruleR0, ruleArea, ruleSpeed, rulePhases,
}
