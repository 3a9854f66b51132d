package assess

import "slices"

// registry is every rule, in the order in which they are asked and printed.
var registry = slices.Concat([]*rule{
	ruleHistologyGroup, ruleIndicationJGES, ruleIndicationESGE2015, ruleIndicationKorea, ruleTechniqueESGE,
	ruleECura, ruleGastricESGE, ruleNextJGES, ruleECuraScore,
	ruleBestJ, ruleLimoges, ruleDEBE, ruleGSEED,
	ruleSquamousIndication, ruleSquamousJES, ruleSquamousJES2022, ruleSquamousKorea, ruleSquamousESGE, ruleJCOG0508,
	ruleStrictureKorea, ruleStrictureJES,
	ruleBarrettESD, ruleEACReview, ruleBarrettESGE, ruleBarrettSurveillance,
	ruleJSCCR, ruleColorectalESGE, ruleBudding, ruleNICE, ruleJNET, ruleKudo, ruleKudoVI, ruleSMSA, ruleColorectalESD,
	ruleDuodenum,
	ruleParis, ruleLST, ruleLSTSize, ruleNonExtension, ruleNonExtensionColon, ruleEUS, ruleVS,
	ruleSydney, ruleASGE, ruleAGREE, ruleWindows, ruleHbFall, rulePECS,
	ruleDefinitions, ruleEnBloc, ruleComplete, ruleR0, ruleCurativeJGES, ruleCurativeJES, ruleCurativeESGE,
	ruleArea, ruleSpeed, rulePhases,
	ruleSurveillanceESGE, ruleSurveillanceMSTF, ruleSurveillanceGastric, ruleSurveillanceGastricESGE, rulePylori,
	ruleSurveillanceT1, ruleSurveillancePiecemeal, ruleSurveillanceDuodenum,
	ruleAntithromboticJGES, ruleResume, ruleAntithromboticBSG2016, ruleAntithromboticBSG2021,
}, seriesRules)
