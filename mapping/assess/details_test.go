package assess

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// gives reports whether the rule gives any answer.
func gives(rule string, c *caseReport) bool {
	return slices.ContainsFunc(everything().Assess(c.Report), func(r Result) bool { return r.Rule == rule })
}

// TestWhichRulesAreAsked: a rule that reads an optional sign is asked only when
// the report says something about it, and each such sign is enough.
func TestWhichRulesAreAsked(t *testing.T) {
	t.Parallel()
	seen := func(organ report.Organ, change func(e *report.Examination)) *caseReport {
		c := blank(organ)
		change(c.seen())
		return c
	}
	nothing := func(*report.Examination) {}
	for _, a := range []struct {
		rule  string
		organ report.Organ
		signs []func(e *report.Examination)
	}{
		{"R8.colorectal.nes", report.Colon, []func(e *report.Examination){
			func(e *report.Examination) { e.RigidArc = report.No }, func(e *report.Examination) { e.TrapezoidElevation = report.No },
			func(e *report.Examination) { e.ConvergingFolds = report.No }}},
		{"R8.gastric.vs", report.Stomach, []func(e *report.Examination){
			func(e *report.Examination) { e.Demarcation = report.Yes }, func(e *report.Examination) { e.MicroVessel = report.PatternRegular },
			func(e *report.Examination) { e.MicroSurf = report.PatternRegular }}},
		{"R6.colorectal.jnet", report.Colon, []func(e *report.Examination){
			func(e *report.Examination) { e.JNET = report.JNET1 }, func(e *report.Examination) { e.JNETVessel = report.VesselRegular },
			func(e *report.Examination) { e.JNETSurface = report.SurfaceRegular }}},
		{"R8.morph.paris", report.Stomach, []func(e *report.Examination){
			func(e *report.Examination) { e.Pedicle = report.No }, func(e *report.Examination) { e.HeightMm = figure("1") }}},
		{"R6.colorectal.technique.esge2022", report.Colon, []func(e *report.Examination){
			func(e *report.Examination) { e.Paris = []report.ParisType{report.Paris0IIa} }, func(e *report.Examination) { e.LST = report.LSTFlatElevated }}},
		{"R1.gastric.histology_group.jgca6", report.Stomach, []func(e *report.Examination){
			func(e *report.Examination) { e.BiopsyTypes = []report.HistologyType{report.TypeTub1} }, func(e *report.Examination) { e.Ulcer = report.UlcerScar }}},
		{"R6.colorectal.nice", report.Colon, []func(e *report.Examination){func(e *report.Examination) { e.NICE = "unknown" }}},
		{"R8.gastric.nes", report.Stomach, []func(e *report.Examination){func(e *report.Examination) { e.NonExtension = "not-assessed" }}},
	} {
		require.False(t, gives(a.rule, seen(a.organ, nothing)), "%s was asked about nothing", a.rule)
		for i, sign := range a.signs {
			require.True(t, gives(a.rule, seen(a.organ, sign)), "%s: sign %d", a.rule, i)
			require.False(t, gives(a.rule, seen(report.Duodenum, sign)) && a.rule != "R8.morph.paris", "%s in another organ", a.rule)
		}
	}
}

// TestLiningOfTheOesophagus: histology outranks biopsy, biopsy what is
// expected, and that the lining as seen.
func TestLiningOfTheOesophagus(t *testing.T) {
	t.Parallel()
	const squamousRule, barrettRule = "R5.oeso.scc.indication.jes", "R5.oeso.eac.technique.esge2022"
	for _, s := range []struct {
		name     string
		squamous bool
		change   func(c *caseReport)
	}{
		{"squamous lining", true, func(c *caseReport) { c.seen().Mucosa = report.Squamous }},
		{"Barrett lining", false, func(c *caseReport) { c.seen().Mucosa = report.Barrett }},
		{"columnar lining", false, func(c *caseReport) { c.seen().Mucosa = report.Columnar }},
		{"expected squamous in Barrett", true, func(c *caseReport) {
			c.seen().Mucosa, c.seen().PredictedHistology = report.Barrett, report.TypeSCC
		}},
		{"biopsy outranks what is expected", false, func(c *caseReport) {
			c.seen().PredictedHistology, c.seen().BiopsyTypes = report.TypeSCC, []report.HistologyType{report.TypeAdenocarcinoma}
		}},
		{"histology outranks biopsy", true, func(c *caseReport) {
			c.seen().BiopsyTypes = []report.HistologyType{report.TypeAdenocarcinoma}
			c.lesion().Histology = &report.Histology{Types: []report.HistologyType{report.TypeSCC}}
		}},
	} {
		c := stated(func() *caseReport { return blank(report.Oesophagus) }, s.change)
		require.Equal(t, s.squamous, gives(squamousRule, c), s.name)
		require.Equal(t, !s.squamous, gives(barrettRule, c), s.name)
	}
	bare := blank(report.Oesophagus)
	require.False(t, gives(squamousRule, bare) || gives(barrettRule, bare), "an unknown lining is neither")
}

// TestNoCancerIsNotGraded: what kind of lesion it is decides whether a rule on
// cancer speaks at all.
func TestNoCancerIsNotGraded(t *testing.T) {
	t.Parallel()
	for _, s := range []struct {
		types []report.HistologyType
		pt    report.PT
		want  string
	}{
		{[]report.HistologyType{report.TypeAdenoma}, "", NotApplicable},
		{[]report.HistologyType{report.TypeAdenoma}, report.PTis, NotApplicable},
		{[]report.HistologyType{report.TypeAdenoma, report.TypeTub1}, report.PT1a, "A"},
		{[]report.HistologyType{report.TypeNET}, report.PT1b, NotApplicable},
		{[]report.HistologyType{report.TypeNoNeoplasia}, "", NotApplicable},
		{[]report.HistologyType{report.TypeHyperplastic}, "", NotApplicable},
		{nil, report.PT0, NotApplicable},
		{[]report.HistologyType{report.TypeTub1}, report.PT2, "C-2"},
		{nil, report.PT2, "C-2"},
		{nil, report.PTDeeper, "C-2"},
		{[]report.HistologyType{report.TypeAdenoma}, report.PT2, "C-2"},
		{[]report.HistologyType{report.TypeAdenoma}, report.PTDeeper, "C-2"},
	} {
		c := stated(gradedA, func(c *caseReport) { c.histology().Types, c.histology().PT = s.types, s.pt })
		if s.want == "A" {
			c.histology().Types = []report.HistologyType{report.TypeTub1, report.TypeAdenoma}
			c.histology().Undifferentiated = &report.Undifferentiated{Present: report.No}
		}
		require.Equal(t, s.want, answerOf(t, "R2.gastric.curability.ecura", c).Answer, "%v %s", s.types, s.pt)
	}
	adenoma := stated(gradedA, func(c *caseReport) {
		h := c.histology()
		h.Types, h.PT, h.LymphaticInvasion, h.VenousInvasion = []report.HistologyType{report.TypeAdenoma}, "", "", ""
	})
	require.Equal(t, "very-low", answerOf(t, "R2.gastric.curability.esge2022", adenoma).Answer, "an adenoma has not invaded")
	require.Equal(t, NotApplicable, answerOf(t, "R2.gastric.curability.esge2022", stated(gradedA, func(c *caseReport) {
		c.histology().Types = []report.HistologyType{report.TypeNEC}
	})).Answer)
}

// TestJustBelowTheMuscularisMucosae: half a micrometre is submucosal.
func TestJustBelowTheMuscularisMucosae(t *testing.T) {
	t.Parallel()
	half := func(c *caseReport) *caseReport {
		c.histology().PT, c.histology().DepthUm = report.PT1b, figure("0.5")
		return c
	}
	undifferentiated := func() *caseReport {
		c := half(gradedA())
		c.histology().Types[0] = report.TypePor2
		return c
	}
	piecemeal := func(c *caseReport) *caseReport { inTwo(c); return c }
	for _, s := range []struct {
		rule, want string
		c          *caseReport
	}{
		{"R2.gastric.curability.ecura", "B", half(gradedA())},
		{"R2.gastric.curability.ecura", "C-2", undifferentiated()},
		{"R2.gastric.curability.esge2022", "low", half(gradedA())},
		{"R2.gastric.curability.esge2022", "high", undifferentiated()},
		{"R2.gastric.curability.esge2022", "undetermined", piecemeal(half(gradedA()))},
		{"R2.gastric.next.jges2020", "local-options-or-surgery", piecemeal(half(gradedA()))},
		{"R5.oeso.eac.curability", "outside", half(stated(barrettT1a, func(c *caseReport) { c.histology().TumourLongMm = figure("40") }))},
		{"R5.oeso.eac.curability.esge2022", "low", half(barrettT1a())},
		{"R5.oeso.eac.curability.esge2022", "undetermined", piecemeal(half(barrettT1a()))},
		{"R6.colorectal.t1.esge2022", "low", half(colonShallow())},
		{"R6.colorectal.t1.esge2022", "undetermined", piecemeal(half(colonShallow()))},
		{"R6.colorectal.t1.esge2022", "high", half(stated(colonShallow, func(c *caseReport) { c.histology().Budding = report.BD2 }))},
		{"R6.colorectal.t1.jsccr", "surveillance", half(colonShallow())},
		{"R11.surveillance.colorectal_cancer.esge2019", "1y", half(colonShallow())},
		{"R5.oeso.scc.curability.jes", "non-curative, further treatment recommended", half(deepLPM())},
	} {
		require.Equal(t, s.want, answerOf(t, s.rule, s.c).Answer, s.rule)
	}
	mucosal := stated(colonShallow, func(c *caseReport) {
		c.histology().PT, c.histology().DepthUm, c.histology().Budding = report.PT1a, report.Number{}, report.BD2
	})
	require.Equal(t, "very-low", answerOf(t, "R6.colorectal.t1.esge2022", mucosal).Answer, "budding counts in the submucosa")
	for _, um := range []string{"0.5", "300"} {
		seen := gastricLesion()
		e := seen.seen()
		e.BiopsyTypes, e.SizeLongMm, e.Ulcer, e.PredictedDepth, e.PredictedSMUm = []report.HistologyType{report.TypeTub1}, figure("25"), report.UlcerAbsent, report.PredictT1b, figure(um)
		require.Equal(t, "expanded-D", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
		e.SizeLongMm = figure("15")
		require.Equal(t, "expanded-D", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
		e.Ulcer = report.UlcerScar
		require.Equal(t, "outside-criteria", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
		e.Ulcer, e.BiopsyTypes = report.UlcerAbsent, []report.HistologyType{report.TypePor2}
		require.Equal(t, "outside-criteria", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
	}
}

// TestUndifferentiatedPart separates what the guideline's figure says from the
// safer reading beside it.
func TestUndifferentiatedPart(t *testing.T) {
	t.Parallel()
	part := func(size string, inSM report.Answer, change func(c *caseReport)) Result {
		c := gradedA()
		c.histology().Undifferentiated = &report.Undifferentiated{Present: report.Yes, SizeMm: figure(size), InSubmucosa: inSM}
		change(c)
		return answerOf(t, "R2.gastric.curability.ecura", c)
	}
	same := func(*caseReport) {}
	plainly := part("20.5", report.No, same)
	require.Equal(t, "C-2", plainly.Answer)
	require.NotContains(t, plainly.Cautions, checkSpecial, "the figure says so itself")
	ulcerated := part("25", report.No, func(c *caseReport) { c.histology().Ulcer = report.UlcerScar })
	require.Equal(t, "C-2", ulcerated.Answer)
	require.Contains(t, ulcerated.Cautions, checkSpecial)
	submucosal := part("25", report.No, intoSM("0.5"))
	require.Equal(t, "C-2", submucosal.Answer)
	require.Contains(t, submucosal.Cautions, checkSpecial)
	require.Equal(t, "B", part("5", report.No, intoSM("300")).Answer, "a small part that stays in the mucosa")
	require.Equal(t, "C-2", part("5", report.Yes, intoSM("300")).Answer)
	require.Equal(t, "A", part("5", report.Yes, same).Answer, "nothing lies in a submucosa that is not invaded")
	require.Equal(t, CannotBeAssessed, part("5", "", intoSM("300")).Answer)

	mixed := stated(gradedA, func(c *caseReport) { c.histology().Types = []report.HistologyType{report.TypeTub2, report.TypePor2} })
	require.Equal(t, []string{"/lesions/0/histology/undifferentiated_component/size_mm"}, answerOf(t, "R2.gastric.curability.ecura", mixed).Missing)
	graded := stated(gradedA, func(c *caseReport) {
		c.histology().Types, c.histology().Grade, c.histology().TumourLongMm = []report.HistologyType{report.TypeAdenocarcinoma}, report.GradeModerate, figure("25")
		c.histology().Undifferentiated = &report.Undifferentiated{Present: report.No}
	})
	require.Equal(t, "A", answerOf(t, "R2.gastric.curability.ecura", graded).Answer, "an adenocarcinoma without subtype goes by its grade")
	untold := stated(gradedA, func(c *caseReport) {
		c.histology().Types, c.histology().Grade, c.histology().TumourLongMm = []report.HistologyType{report.TypeMedullary}, report.GradeModerate, figure("25")
		c.histology().Undifferentiated = &report.Undifferentiated{Present: report.No}
	})
	require.Equal(t, CannotBeAssessed, answerOf(t, "R2.gastric.curability.ecura", untold).Answer, "other types are not grouped by grade")
	untyped := stated(gradedA, func(c *caseReport) { c.histology().Types, c.histology().TumourLongMm = nil, figure("25") })
	require.Equal(t, []string{"/lesions/0/histology/types", "/lesions/0/histology/undifferentiated_component/size_mm"}, answerOf(t, "R2.gastric.curability.ecura", untyped).Missing)
}

// TestHistologyGroup covers the parts of the JGCA text without a case.
func TestHistologyGroup(t *testing.T) {
	t.Parallel()
	const rule = "R1.gastric.histology_group.jgca6"
	got := answerOf(t, rule, gradedA())
	require.Equal(t, "differentiated, UL0", got.Answer)
	require.Equal(t, "By type and scar: differentiated, UL0.", got.Reason)
	require.Equal(t, []string{"/lesions/0/histology/types/0", "/lesions/0/histology/ulceration"}, got.Inputs)
	require.Empty(t, got.Missing)
	biopsied := stated(gastricLesion, func(c *caseReport) {
		c.seen().BiopsyTypes, c.seen().Ulcer = []report.HistologyType{report.TypeSig}, report.UlcerBiopsyScar
	})
	got = answerOf(t, rule, biopsied)
	require.Equal(t, "undifferentiated, UL0", got.Answer, "a biopsy scar is no ulcer scar")
	require.Equal(t, []string{"/lesions/0/examination/biopsy_types/0", "/lesions/0/examination/ulceration"}, got.Inputs)
	got = answerOf(t, rule, stated(gradedA, func(c *caseReport) {
		c.histology().Types, c.seen().BiopsyTypes = nil, []report.HistologyType{report.TypeTub1}
	}))
	require.Equal(t, "/lesions/0/examination/biopsy_types/0", got.Inputs[0], "the biopsy stands in while no type is reported")
	mucinous := stated(gradedA, func(c *caseReport) { c.histology().Types[0], c.histology().PT = report.TypeMuc, report.PT1a })
	got = answerOf(t, rule, mucinous)
	require.Equal(t, "UL0", got.Answer, "mucinous cancer is grouped in the submucosa only")
	require.Contains(t, got.Reason, "Open:")
	none := stated(gradedA, func(c *caseReport) { c.histology().Types, c.histology().Ulcer = nil, "" })
	require.Equal(t, CannotBeAssessed, answerOf(t, rule, none).Answer)
}

// TestExpectedHistology words what a biopsy does not tell.
func TestExpectedHistology(t *testing.T) {
	t.Parallel()
	seen := gastricLesion()
	seen.seen().PredictedHistology, seen.seen().PredictedDepth, seen.seen().Ulcer, seen.seen().SizeLongMm = report.TypeTub1, report.PredictT1a, report.UlcerAbsent, figure("15")
	require.Equal(t, "absolute-EMR-or-ESD", answerOf(t, "R1.gastric.indication.jges2020", seen).Answer)
	require.Equal(t, "absolute", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
	seen.seen().BiopsyTypes = []report.HistologyType{report.TypeDysplasia}
	require.Equal(t, "dysplasia", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
	seen.seen().Ulcer = report.UlcerScar
	require.Equal(t, "outside-criteria", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer)
	got := answerOf(t, "R1.gastric.indication.korea2020", seen)
	require.Equal(t, "Cannot be assessed: histology before the resection does not tell the group.", got.Reason)
	seen.seen().BiopsyTypes, seen.seen().PredictedHistology = nil, ""
	require.Equal(t, "Cannot be assessed: histology before the resection not reported.", answerOf(t, "R1.gastric.indication.korea2020", seen).Reason)
	seen.seen().BiopsyTypes, seen.seen().PredictedSMUm, seen.seen().Ulcer = []report.HistologyType{report.TypeTub1}, figure("0"), report.UlcerAbsent
	require.Equal(t, "absolute", answerOf(t, "R1.gastric.indication.esge2015", seen).Answer, "a depth of 0 leaves the step as it is")
	seen.seen().PredictedDepth, seen.seen().SizeLongMm = report.PredictT1b, figure("25")
	require.Equal(t, CannotBeAssessed, answerOf(t, "R1.gastric.indication.esge2015", seen).Answer, "T1b with a depth of 0 is T1b of unknown depth")
}

// TestRecurrence reads the earlier resection of this lesion and no other.
func TestRecurrence(t *testing.T) {
	t.Parallel()
	base := func(earlier ...report.Earlier) *caseReport {
		c := gastricLesion()
		e := c.seen()
		e.BiopsyTypes, e.SizeLongMm, e.Ulcer, e.PredictedDepth = []report.HistologyType{report.TypeTub1}, figure("15"), report.UlcerAbsent, report.PredictT1a
		c.Before.Earlier = earlier
		return c
	}
	back := report.Earlier{Lesion: 1, Kind: report.EarlierResection, LocalRecurrence: report.Yes, ECura: report.EarlierECuraC1, Indication: report.EarlierAbsolute}
	change := func(f func(e *report.Earlier)) report.Earlier { e := back; f(&e); return e }
	for name, s := range map[string]struct {
		want    string
		earlier []report.Earlier
	}{
		"recurrence":                   {"expanded", []report.Earlier{back}},
		"of the organ":                 {"expanded", []report.Earlier{change(func(e *report.Earlier) { e.Lesion = 0 })}},
		"of another lesion":            {"absolute-EMR-or-ESD", []report.Earlier{change(func(e *report.Earlier) { e.Lesion = 2 })}},
		"a biopsy":                     {"absolute-EMR-or-ESD", []report.Earlier{change(func(e *report.Earlier) { e.Kind = report.EarlierBiopsy })}},
		"had been relative":            {"relative", []report.Earlier{change(func(e *report.Earlier) { e.Indication = report.EarlierRelative })}},
		"had been C-2":                 {"relative", []report.Earlier{change(func(e *report.Earlier) { e.ECura = report.EarlierECuraC2 })}},
		"curability unknown":           {CannotBeAssessed, []report.Earlier{change(func(e *report.Earlier) { e.ECura = "" })}},
		"whether it recurs is unknown": {CannotBeAssessed, []report.Earlier{change(func(e *report.Earlier) { e.LocalRecurrence = "" })}},
		"no recurrence":                {"absolute-EMR-or-ESD", []report.Earlier{change(func(e *report.Earlier) { e.LocalRecurrence = report.No })}},
	} {
		require.Equal(t, s.want, answerOf(t, "R1.gastric.indication.jges2020", base(s.earlier...)).Answer, name)
	}
	intent := base()
	intent.Before.Indication = ""
	require.Equal(t, CannotBeAssessed, answerOf(t, "R1.gastric.indication.jges2020", intent).Answer, "nothing says that it is the first time")
	intent.Before.Indication = report.IntentRecurrence
	require.Equal(t, CannotBeAssessed, answerOf(t, "R1.gastric.indication.jges2020", intent).Answer, "a recurrence of which nothing is told")
}

// TestPrintedGroups pins the groups of the scores as the publications print
// them; the book prints them from the limits that the rules use.
func TestPrintedGroups(t *testing.T) {
	t.Parallel()
	tables := map[string]string{}
	for _, d := range DefaultBook().Print().Rules {
		for _, row := range d.Table {
			tables[d.Rule] += row.When + ": " + row.Then + "\n"
		}
	}
	for rule, lines := range map[string][]string{
		"R3.gastric.lnm.ecura_score": {"0 to 1 points: low", "2 to 4 points: intermediate", "5 to 7 points: high"},
		"R4.bleed.bestj":             {"0 to 1 points: low", "2 to 2 points: intermediate", "3 to 4 points: high", "5 to 19 points: very-high", "aspirin: +2", "aspirin interrupted: -1"},
		"R4.bleed.limoges":           {"0 to 4 points: low-medium", "5 to 8 points: high"},
		"R4.bleed.gseed_re":          {"0 to 3 points: low", "4 to 7 points: average", "8 to 10 points: high"},
		"R6.colorectal.smsa":         {"above 12 points: level IV"},
	} {
		for _, line := range lines {
			require.Contains(t, tables[rule], line+"\n", rule)
		}
	}
	require.NotContains(t, tables["R4.bleed.debe"], "points:", "the groups of DEBE were not seen")
	require.NotContains(t, tables["R4.bleed.limoges"], "interrupted")
}

// TestScoresByPoints walks through the groups of the scores one point at a time.
func TestScoresByPoints(t *testing.T) {
	t.Parallel()
	for points, want := range map[string]string{"age": "low", "age,aspirin": "low", "aspirin,size": "low", "age,right": "average", "right,aspirin,closed": "average", "right,aspirin,closed,age": "high"} {
		c := drugsKnown(report.Colon, report.EMR)()
		c.Patient.AgeY, c.Before.ASAClass, c.seen().SizeLongMm, c.seen().Site = figure("60"), "2", figure("25"), report.SiteSigmoid
		c.resection().Closure = &report.Closure{Result: report.ClosureComplete}
		for _, p := range strings.Split(points, ",") {
			switch p {
			case "age":
				c.Patient.AgeY = figure("80")
			case "aspirin":
				c.Before.Antithrombotics = []report.Antithrombotic{{Class: report.Aspirin}}
			case "size":
				c.seen().SizeLongMm = figure("45")
			case "right":
				c.seen().Site = report.SiteTransverse
			case "closed":
				c.resection().Closure.Result = report.ClosurePartial
			}
		}
		require.Equal(t, want, answerOf(t, "R4.bleed.gseed_re", c).Answer, points)
	}
	small := drugsKnown(report.Colon, report.EMR)()
	small.seen().SizeLongMm = figure("19.9")
	require.False(t, gives("R4.bleed.gseed_re", small), "the score is for 20 mm and more")
	small.seen().SizeLongMm = figure("20")
	require.True(t, gives("R4.bleed.gseed_re", small))
	score := func(lyPositive, other report.Sign, size string) string {
		c := stated(gradedA, intoSM("100"))
		h := c.histology()
		h.LymphaticInvasion, h.VenousInvasion, h.VerticalMargin, h.TumourLongMm = lyPositive, other, other, figure(size)
		return answerOf(t, "R3.gastric.lnm.ecura_score", c).Answer
	}
	require.Equal(t, "intermediate", score(report.Positive, report.Negative, "31"), "4 points")
	require.Equal(t, "high", score(report.Positive, report.Positive, "30"), "5 points")
	require.Equal(t, "6 points", strings.SplitN(answerOf(t, "R3.gastric.lnm.ecura_score", stated(gradedA, func(c *caseReport) {
		h := c.histology()
		h.LymphaticInvasion, h.VenousInvasion, h.VerticalMargin, h.TumourLongMm = report.Positive, report.Positive, report.Positive, figure("31")
	})).Reason, " (", 2)[0])
	clean := answerOf(t, "R4.bleed.limoges", stated(drugsKnown(report.Colon, report.ESD), func(c *caseReport) {
		c.Patient.AgeY, c.Before.ASAClass, c.seen().SizeLongMm = figure("60"), "1", figure("25")
	}))
	require.Equal(t, "0 points (no item scores). Low to medium risk of bleeding.", clean.Reason)
}

// TestSMSAPoints: sessile is 2, flat 3 (World J Gastroenterol 2023;29:2600).
func TestSMSAPoints(t *testing.T) {
	t.Parallel()
	for paris, want := range map[report.ParisType]float64{report.Paris0Ip: 4, report.Paris0Is: 5, report.Paris0IIa: 6, report.Paris0IIc: 6} {
		c := colonSeen()
		c.seen().SizeLongMm, c.seen().Paris, c.seen().Site, c.seen().Access = figure("5"), []report.ParisType{paris}, report.SiteSigmoid, report.AccessEasy
		require.Equal(t, want, answerOf(t, "R6.colorectal.smsa", c).Values["points"], paris)
	}
	c := colonSeen()
	c.seen().SizeLongMm, c.seen().Paris, c.seen().Site, c.seen().Access = figure("5"), []report.ParisType{report.Paris0Isp}, report.SiteSigmoid, report.AccessEasy
	require.Equal(t, "Cannot be assessed: morphology is neither pedunculated, sessile nor flat in the table.",
		strings.Replace(answerOf(t, "R6.colorectal.smsa", c).Reason, "morphology neither", "morphology is neither", 1))
	c.seen().Paris = nil
	require.Contains(t, answerOf(t, "R6.colorectal.smsa", c).Reason, "morphology not reported")
}

// TestColorectalDetails covers grades, budding and margins.
func TestColorectalDetails(t *testing.T) {
	t.Parallel()
	const jsccrRule, budRule = "R6.colorectal.t1.jsccr", "R6.colorectal.budding"
	types := func(worst report.Grade, list ...report.HistologyType) *caseReport {
		return stated(colonShallow, func(c *caseReport) { c.histology().Types, c.histology().WorstGrade = list, worst })
	}
	require.Equal(t, "surveillance", answerOf(t, jsccrRule, types("", report.TypeTub1, report.TypeTub2)).Answer, "the list of types is the whole list")
	require.Equal(t, CannotBeAssessed, answerOf(t, jsccrRule, types("", report.TypeTub1, report.TypeAdenocarcinoma)).Answer)
	require.Equal(t, CannotBeAssessed, answerOf(t, jsccrRule, types("")).Answer)
	require.Equal(t, "consider-surgery", answerOf(t, jsccrRule, types(report.GradeWell, report.TypeTub1, report.TypeSig)).Answer)
	unread := stated(colonShallow, func(c *caseReport) { c.histology().Budding = report.BuddingNoFit })
	require.Equal(t, "Cannot be assessed: tumour budding could not be assessed.", answerOf(t, jsccrRule, unread).Reason)
	untold := stated(colonShallow, func(c *caseReport) { c.histology().Budding = "" })
	require.Equal(t, "Cannot be assessed: tumour budding not reported.", answerOf(t, jsccrRule, untold).Reason)
	hm1 := stated(colonShallow, func(c *caseReport) { c.histology().HorizontalMargin = report.Positive })
	require.Contains(t, strings.Join(answerOf(t, jsccrRule, hm1).Cautions, " "), "horizontal margin is positive")
	require.Equal(t, "surveillance", answerOf(t, jsccrRule, hm1).Answer)
	require.NotContains(t, strings.Join(answerOf(t, jsccrRule, colonShallow()).Cautions, " "), "horizontal margin is positive")
	deep := answerOf(t, jsccrRule, colonAt("1000"))
	require.Equal(t, 1.2, deep.Risk.Pct, "the only factor")
	require.Nil(t, answerOf(t, jsccrRule, stated(func() *caseReport { return colonAt("1000") }, func(c *caseReport) { c.histology().Budding = report.BD2 })).Risk)
	require.Equal(t, NotApplicable, answerOf(t, "R11.surveillance.colorectal_cancer.esge2019", stated(colonShallow, func(c *caseReport) {
		c.histology().PT, c.histology().DepthUm = report.PTis, report.Number{}
	})).Answer)

	disagrees := "another grade than the count"
	for buds, grade := range map[string]report.Budding{"4": report.BD1, "5": report.BD2, "9": report.BD2, "10": report.BD3} {
		c := stated(colonShallow, countBuds(buds))
		for _, stated := range []report.Budding{report.BD1, report.BD2, report.BD3, "", report.BuddingNoFit} {
			c.histology().Budding = stated
			said := strings.Contains(strings.Join(answerOf(t, budRule, c).Cautions, " "), disagrees)
			require.Equal(t, report.Known(stated) && stated != report.BuddingNoFit && stated != grade, said, "%s buds, stated %s", buds, stated)
		}
	}
	noField := stated(colonShallow, countBuds("4"))
	noField.histology().BuddingFieldMm2 = report.Number{}
	require.Equal(t, []string{"/lesions/0/histology/budding_field_mm2"}, answerOf(t, budRule, noField).Missing)
	noField.histology().BuddingFieldMm2 = figure("0")
	require.Equal(t, CannotBeAssessed, answerOf(t, budRule, noField).Answer, "a field of no size")
}

// TestJNETDetails: the stated class, patterns that disagree, and half of them.
func TestJNETDetails(t *testing.T) {
	t.Parallel()
	const rule = "R6.colorectal.jnet"
	read := func(class report.JNET, v report.JNETVessel, s report.JNETSurface) Result {
		return answerOf(t, rule, stated(colonSeen, func(c *caseReport) { c.seen().JNET, c.seen().JNETVessel, c.seen().JNETSurface = class, v, s }))
	}
	odd := "belongs to another type"
	require.Equal(t, "1", read(report.JNET1, "", "").Answer)
	require.NotContains(t, strings.Join(read(report.JNET1, "", "").Cautions, " "), odd)
	require.NotContains(t, strings.Join(read(report.JNET1, report.VesselInvisible, report.SurfaceSpots).Cautions, " "), odd)
	require.Contains(t, strings.Join(read(report.JNET2A, report.VesselInvisible, "").Cautions, " "), odd)
	require.Contains(t, strings.Join(read(report.JNET2A, "", report.SurfaceSpots).Cautions, " "), odd)
	require.Contains(t, strings.Join(read(report.JNET1, report.VesselRegular, report.SurfaceSpots).Cautions, " "), odd)
	require.Equal(t, "undetermined", read("", report.VesselInvisible, report.SurfaceRegular).Answer)
	require.Equal(t, "1", read("", report.VesselInvisible, report.SurfaceSpots).Answer)
	half := read("", report.VesselInvisible, "")
	require.Equal(t, CannotBeAssessed, half.Answer)
	require.Equal(t, []string{"/lesions/0/examination/jnet_surface"}, half.Missing)
	require.Equal(t, []string{"/lesions/0/examination/jnet_vessel"}, half.Inputs)
	require.Equal(t, []string{"/lesions/0/examination/jnet_vessel"}, read("", "", report.SurfaceSpots).Missing)
	require.Contains(t, strings.Join(read(report.JNET2B, "", "").Cautions, " "), "the next step is from memory")
	require.NotContains(t, strings.Join(read(report.JNET1, "", "").Cautions, " "), "the next step is from memory")
}

// TestWarnings: cautions that hang on the case stand on that case only.
func TestWarnings(t *testing.T) {
	t.Parallel()
	warns := func(rule, text string, c *caseReport) bool {
		return strings.Contains(strings.Join(answerOf(t, rule, c).Cautions, " "), text)
	}
	sign := func(full report.Answer) *caseReport {
		return stated(gastricLesion, func(c *caseReport) { c.seen().NonExtension, c.seen().FullInsufflation = report.Positive, full })
	}
	require.True(t, warns("R8.gastric.nes", "not fully insufflated", sign(report.No)))
	require.False(t, warns("R8.gastric.nes", "not fully insufflated", sign(report.Yes)))
	high := func(mm string, paris ...report.ParisType) *caseReport {
		return stated(colonSeen, func(c *caseReport) {
			c.seen().HeightMm, c.seen().Pedicle, c.seen().Paris = figure(mm), report.No, paris
		})
	}
	require.True(t, warns("R8.morph.paris", "exactly at the limit", high("2.5")))
	require.False(t, warns("R8.morph.paris", "exactly at the limit", high("2.6")))
	require.True(t, warns("R8.morph.paris", "does not go with this height", high("2.6", report.Paris0IIa)))
	require.False(t, warns("R8.morph.paris", "does not go with this height", high("2.5", report.Paris0IIa)))
	require.False(t, warns("R8.morph.paris", "does not go with this height", high("2.4", report.Paris0IIa)))
	require.False(t, warns("R8.morph.paris", "does not go with this height", high("2.6", report.Paris0Is)))
	admitted := func(h string) *caseReport { return eventWith(func(e *report.Event) { e.AdmissionH = figure(h) }) }
	require.True(t, warns("R9.ae.agree2022", cut24, admitted("24")))
	require.False(t, warns("R9.ae.agree2022", cut24, admitted("25")))
	require.Equal(t, "I", answerOf(t, "R9.ae.agree2022", admitted("0.5")).Answer)
	surface := stated(gradedA, func(c *caseReport) { c.histology().DepthFrom = report.FromSurface })
	require.True(t, warns("R2.gastric.curability.ecura", "not measured from the muscularis mucosae", surface))
	require.False(t, warns("R2.gastric.curability.ecura", "not measured from the muscularis mucosae", gradedA()))
	open := stated(gradedA, func(c *caseReport) { c.histology().PT, c.histology().DepthUm = report.PT1b, report.Number{} })
	require.True(t, warns("R2.gastric.curability.esge2022", "One of the answers still possible rests on memory", open))
	require.False(t, warns("R2.gastric.curability.ecura", "One of the answers still possible rests on memory", open))
	for _, r := range everything().Assess(gradedA().Report) {
		require.NotContains(t, r.Cautions, "", r.Rule)
	}
	require.Equal(t, "Cannot be assessed: NICE class is not a class of this table.",
		answerOf(t, "R6.colorectal.nice", stated(colonSeen, func(c *caseReport) { c.seen().NICE = "9" })).Reason)
	require.Equal(t, "Cannot be assessed: NICE class not assessed.",
		answerOf(t, "R6.colorectal.nice", stated(colonSeen, func(c *caseReport) { c.seen().NICE = "not-assessed" })).Reason)
}

// TestLateBleeding covers days, signs and what is open.
func TestLateBleeding(t *testing.T) {
	t.Parallel()
	const rule = "R9.ae.delayed_bleed_window"
	bleed := func(change func(e *report.Event)) Result {
		c := uneventful(report.EventBleeding, report.Stomach)()
		c.event().Symptoms, c.event().EmergencyEndoscopy, c.event().OccurredAt = []report.Symptom{report.Melaena}, report.Yes, moment(3*24*time.Hour)
		change(c.event())
		return answerOf(t, rule, c)
	}
	all3 := bleed(func(*report.Event) {})
	require.Equal(t, "15 days, 28 days, 30 days", all3.Answer)
	require.Equal(t, "Counts as delayed bleeding by these definitions: 15 days, 28 days, 30 days (days after the session: 3).", all3.Reason)
	require.Empty(t, all3.Decides)
	open := bleed(func(e *report.Event) { e.EmergencyEndoscopy = "" })
	require.Equal(t, map[string]any{"def15": true, "def30": true}, open.Values)
	require.Equal(t, []string{"/events/0/emergency_endoscopy"}, open.Missing)
	require.Contains(t, open.Reason, "Open: emergency endoscopy not reported.")
	require.NotEmpty(t, open.Decides)
	require.Equal(t, "none", bleed(func(e *report.Event) { e.Symptoms = []report.Symptom{} }).Answer)
	require.Equal(t, "none", bleed(func(e *report.Event) { e.Symptoms = []report.Symptom{report.Pain} }).Answer)
	require.Equal(t, "15 days, 28 days, 30 days", bleed(func(e *report.Event) {
		e.Symptoms, e.Unstable = []report.Symptom{report.Syncope}, report.Yes
	}).Answer, "an unstable circulation shows it")
	require.Equal(t, "none", bleed(func(e *report.Event) { e.Symptoms, e.Unstable = []report.Symptom{}, report.Yes }).Answer)
	require.Equal(t, CannotBeAssessed, bleed(func(e *report.Event) { e.Symptoms = nil }).Answer)
	recognised := bleed(func(e *report.Event) { e.OccurredAt, e.RecognisedAt = report.Time{}, moment(20*24*time.Hour) })
	require.Equal(t, "28 days, 30 days", recognised.Answer)
	require.Contains(t, recognised.Inputs, "/events/0/recognised_at")
	require.Equal(t, []string{"/events/0/occurred_at"}, bleed(func(e *report.Event) { e.OccurredAt = report.Time{} }).Missing)
	during := uneventful(report.EventBleeding, report.Stomach)()
	during.event().Timing = report.DuringSession
	require.False(t, gives(rule, during), "a bleeding in the session is not delayed")
	before := bledBy("12.0", "10.0")
	before.event().HbBeforeGDl = report.Number{}
	require.Equal(t, []string{"/events/0/hb_before_g_dl"}, answerOf(t, "R9.ae.hb_fall", before).Missing)
	stool := bledBy("12.0", "12.0")
	stool.event().Symptoms = []report.Symptom{report.Haematochezia}
	require.Equal(t, "met", answerOf(t, "R9.ae.hb_fall", stool).Answer)
	stool.event().Symptoms, stool.event().Unstable = []report.Symptom{report.Pain}, report.Yes
	require.Equal(t, "met", answerOf(t, "R9.ae.hb_fall", stool).Answer)
}

// TestPerforationBesideSyndrome: only a perforation of the same lesion counts.
func TestPerforationBesideSyndrome(t *testing.T) {
	t.Parallel()
	fever := func(other ...report.Event) string {
		c := uneventful(report.EventCoagulation, report.Colon)()
		c.event().LocalTenderness, c.event().TempC = report.Yes, figure("38")
		c.Events = append(c.Events, other...)
		return answerOf(t, "R9.ae.pecs", c).Answer
	}
	hole := report.Event{ID: "e2", Lesion: 1, Kind: report.EventPerforation, Timing: report.AfterSession}
	with := func(f func(e *report.Event)) report.Event { e := hole; f(&e); return e }
	require.Equal(t, "met", fever())
	require.Equal(t, "not-met", fever(hole))
	require.Equal(t, "not-met", fever(with(func(e *report.Event) { e.Lesion = 0 })), "of an unnamed lesion")
	require.Equal(t, "met", fever(with(func(e *report.Event) { e.Lesion = 2 })), "of another lesion")
	require.Equal(t, "met", fever(with(func(e *report.Event) { e.Kind = report.EventOther })))
	require.Equal(t, "met", fever(with(func(e *report.Event) { e.Retracted = true })))
}

// TestTransfusionUnits: none is none.
func TestTransfusionUnits(t *testing.T) {
	t.Parallel()
	units := func(n string) string {
		return answerOf(t, "R9.ae.asge2010", eventWith(func(e *report.Event) { e.Transfusion, e.TransfusionUnits = "", figure(n) })).Answer
	}
	require.Equal(t, "incident", units("0"))
	require.Equal(t, "moderate", units("1"))
}

// TestExtentDetails words each way in which a resection can come out.
func TestExtentDetails(t *testing.T) {
	t.Parallel()
	const rule = "R10.metric.definitions"
	out := func(change func(c *caseReport)) Result { return answerOf(t, rule, stated(gradedA, change)) }
	require.Equal(t, "complete-r0", out(func(*caseReport) {}).Answer)
	require.Equal(t, "not-en-bloc", out(inTwo).Answer)
	require.Equal(t, false, out(inTwo).Values["complete_r0"])
	require.Equal(t, "en-bloc-not-complete", out(func(c *caseReport) { c.histology().VerticalMargin = report.Positive }).Answer)
	half := out(func(c *caseReport) { c.histology().VerticalMargin = "" })
	require.Equal(t, "en-bloc", half.Answer)
	require.Equal(t, map[string]any{"en_bloc": true}, half.Values)
	require.Equal(t, []string{"/lesions/0/histology/vertical_margin"}, half.Missing)
	require.Equal(t, CannotBeAssessed, out(func(c *caseReport) { c.resection().Pieces = report.Number{} }).Answer)
	require.Equal(t, "undetermined", answerOf(t, "R10.metric.curative.esge2022", stated(gradedA, func(c *caseReport) { inTwo(c); intoSM("300")(c) })).Answer)
	require.Nil(t, answerOf(t, "R10.metric.curative.esge2022", stated(gradedA, func(c *caseReport) { inTwo(c); intoSM("300")(c) })).Values)
	require.Equal(t, map[string]any{"curative": true}, answerOf(t, "R10.metric.curative.jges2020", gradedA()).Values)
	require.Equal(t, map[string]any{"curative": false}, answerOf(t, "R10.metric.curative.jges2020", stated(gradedA, inTwo)).Values)
}

// TestTimesAndAreas adds up a time line with overlaps (arithmetic).
func TestTimesAndAreas(t *testing.T) {
	t.Parallel()
	phase := func(s report.Step, from, to int) report.Phase {
		return report.Phase{Step: s, Start: moment(time.Duration(from) * time.Minute), End: moment(time.Duration(to) * time.Minute)}
	}
	c := gradedA()
	c.lesion().Specimen = &report.Specimen{SizeLongMm: figure("40"), SizeShortMm: figure("30")}
	c.resection().Phases = []report.Phase{
		phase(report.StepMarking, 0, 5), phase(report.StepMarking, 3, 7), phase(report.StepDissection, 20, 60), phase(report.StepIncision, 10, 20), phase(report.StepIncision, 30, 35),
		phase(report.StepDissection, 50, 70), phase(report.StepClosure, 75, 90), phase(report.StepTrimming, 40, 40),
	}
	times := answerOf(t, "R10.metric.phase_durations", c)
	require.Equal(t, map[string]any{"marking_min": 7.0, "dissection_min": 50.0, "incision_min": 15.0, "closure_min": 15.0, "trimming_min": 0.0, "total_min": 90.0}, times.Values)
	require.Equal(t, "90", times.Answer)
	speed := answerOf(t, "R10.metric.speed", c)
	require.Equal(t, 9.425, speed.Values["cm2_per_h"], "942.5 mm² in the 60 min from incision to the end of dissection")
	require.Equal(t, true, speed.Values["meets_9"])
	require.Contains(t, speed.Reason, "at or above the mark")
	c.resection().Phases = []report.Phase{phase(report.StepIncision, 0, 1), phase(report.StepDissection, 0, 63)}
	slow := answerOf(t, "R10.metric.speed", c)
	require.Equal(t, false, slow.Values["meets_9"])
	require.Contains(t, slow.Reason, "below the mark")
	require.Equal(t, "942.5", answerOf(t, "R10.metric.specimen_area", c).Answer)
	c.resection().Phases = []report.Phase{phase(report.StepDissection, 0, 63)}
	require.Equal(t, CannotBeAssessed, answerOf(t, "R10.metric.speed", c).Answer, "no incision, no start")
	c.lesion().Specimen.SizeShortMm = figure("0")
	require.Equal(t, []string{"/lesions/0/specimen/size_short_mm"}, answerOf(t, "R10.metric.specimen_area", c).Missing, "a specimen of no size")
}

// TestMultipleTumours: another lesion resected in the same organ is enough.
func TestMultipleTumours(t *testing.T) {
	t.Parallel()
	points := func(other report.Lesion) string {
		c := drugsKnown(report.Stomach, report.ESD)()
		c.Before.Haemodialysis, c.seen().Third, c.seen().SizeLongMm = report.No, report.UpperThird, figure("20")
		c.Lesions = append(c.Lesions, other)
		for _, r := range everything().Assess(c.Report) {
			if r.Rule == "R4.bleed.bestj" && r.Lesion == 1 {
				return fmt.Sprint(r.Values["points"])
			}
		}
		return ""
	}
	resected := &report.Resection{Technique: report.EMR}
	require.Equal(t, "1", points(report.Lesion{Number: 2, Examination: report.Examination{Organ: report.Stomach}, Resection: resected}))
	require.Equal(t, "<nil>", points(report.Lesion{Number: 2, Examination: report.Examination{Organ: report.Oesophagus}, Resection: resected}), "another organ says nothing")
	require.Equal(t, "<nil>", points(report.Lesion{Number: 2, Examination: report.Examination{Organ: report.Stomach}}), "left in place, its nature is not known")
}

// TestSquamousSteps reads the layer, as far as it is divided.
func TestSquamousSteps(t *testing.T) {
	t.Parallel()
	const rule = "R5.oeso.scc.curability.jes"
	at := func(pt report.PT, um string, types ...report.HistologyType) Result {
		c := squamousAt(pt, um, "10")
		if len(types) > 0 {
			c.histology().Types = types
		}
		return answerOf(t, rule, c)
	}
	require.Equal(t, "curative", at(report.PTis, "").Answer)
	require.Equal(t, "curative", at(report.PT1aEP, "").Answer)
	require.Equal(t, "curative", at(report.PT1aLPM, "0").Answer, "a depth of 0 is none")
	require.Contains(t, at(report.PT1aLPM, "0").Inputs, "/lesions/0/histology/pt")
	require.Equal(t, "non-curative, further treatment recommended", at(report.PT2, "").Answer)
	require.Equal(t, "non-curative, further treatment recommended", at(report.PTDeeper, "").Answer)
	deep := at("", "150")
	require.Equal(t, "non-curative, further treatment recommended", deep.Answer)
	require.Equal(t, []string{"/lesions/0/histology/depth_um"}, deep.Inputs)
	undivided := at(report.PT1a, "")
	require.Equal(t, CannotBeAssessed, undivided.Answer)
	require.Equal(t, "Cannot be assessed: layer reached not divided into EP, LPM and MM.", undivided.Reason)
	require.Equal(t, "Cannot be assessed: layer reached not reported.", at("", "").Reason)
	neoplasia := at("", "", report.TypeSquamousIEN)
	require.Equal(t, "curative", neoplasia.Answer)
	require.Contains(t, neoplasia.Inputs, "/lesions/0/histology/types/0")
	require.Contains(t, at(report.PT1aMM, "").Inputs, "/lesions/0/histology/pt")

	share := func(pct string) string {
		c := squamousSeenAt(report.PredictT1aEPLPM, "", report.ClinicalN0)
		c.seen().CircumferencePct, c.seen().AxialLengthMm = figure(pct), figure("60")
		return answerOf(t, "R5.oeso.scc.indication.jes", c).Answer
	}
	require.Equal(t, "indicated", share("99"))
	require.Equal(t, "not-by-this-rule", share("100"))
}

// TestPolyps adds up what is known of the polyps and leaves open what is not.
func TestPolyps(t *testing.T) {
	t.Parallel()
	const esge, mstf = "R11.surveillance.esge2020", "R11.surveillance.usmstf2020"
	list := func(sizes ...string) *caseReport {
		c := polypCase()
		c.Lesions = nil
		for i, s := range sizes {
			l := polypCase().Lesions[0]
			l.Number, l.Examination.SizeLongMm = i+1, report.Number{}
			if s != "" {
				l.Examination.SizeLongMm = figure(s)
			}
			c.Lesions = append(c.Lesions, l)
		}
		return c
	}
	largest := answerOf(t, esge, list("5", "12", "11"))
	require.Equal(t, "3y", largest.Answer)
	require.Contains(t, largest.Inputs, "/lesions/1/examination/size_long_mm")
	require.Contains(t, answerOf(t, esge, list("5", "12", "12")).Inputs, "/lesions/1/examination/size_long_mm", "the first of the largest")
	left := list("5")
	left.Lesions = append(left.Lesions, report.Lesion{Number: 2, Examination: report.Examination{Organ: report.Colon, SizeLongMm: figure("15")}})
	require.Equal(t, "return-to-screening", answerOf(t, esge, left).Answer, "a lesion that was left is not counted")
	unsized := answerOf(t, esge, list("5", ""))
	require.Equal(t, CannotBeAssessed, unsized.Answer)
	require.Equal(t, []string{"/lesions/1/examination/size_long_mm"}, unsized.Missing)
	require.Equal(t, "largest adenoma: return to screening below 10 mm, after 3 years from 10 mm", unsized.Decides)
	require.Equal(t, "3y", answerOf(t, esge, list("10", "")).Answer, "one of 10 mm is enough")

	unread := list("5", "5", "5", "5")
	unread.Lesions[3].Histology = nil
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, unread).Answer)
	five := list("5", "5", "5", "5", "5", "5")
	five.Lesions[5].Histology = nil
	require.Equal(t, "3y", answerOf(t, esge, five).Answer, "five are enough whatever the sixth is")
	nine := list("5", "5", "5", "5", "5", "5", "5", "5", "5", "5")
	require.Equal(t, "undetermined", answerOf(t, mstf, nine).Answer)
	nine.Lesions[9].Histology = nil
	require.Equal(t, CannotBeAssessed, answerOf(t, mstf, nine).Answer, "the tenth could make it exactly ten")
	require.Equal(t, []string{"/lesions/9/histology"}, answerOf(t, mstf, nine).Missing)
	require.Equal(t, SecondHand, answerOf(t, mstf, list("5", "5", "5", "5", "5")).Confirmed)
	require.Equal(t, Memory, answerOf(t, mstf, list("5", "5", "5", "5", "5", "5")).Confirmed, "6 to 9 adenomas rest on memory")

	first := func(change func(l *report.Lesion)) *caseReport {
		c := list("5")
		change(&c.Lesions[0])
		return c
	}
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, first(func(l *report.Lesion) { l.Histology.Dysplasia = "" })).Answer)
	require.Equal(t, CannotBeAssessed, answerOf(t, mstf, first(func(l *report.Lesion) { l.Histology.Types[0] = report.TypeAdenoma })).Answer, "villous or not is not said")
	require.Equal(t, "not-by-this-rule", answerOf(t, mstf, first(func(l *report.Lesion) { l.Histology.Types[0] = report.TypeSSL })).Answer)
	serrated := func(t report.HistologyType, d report.Dysplasia, size string) *caseReport {
		return first(func(l *report.Lesion) {
			l.Histology.Types[0], l.Histology.Dysplasia, l.Examination.SizeLongMm = t, d, report.Number{}
			if size != "" {
				l.Examination.SizeLongMm = figure(size)
			}
		})
	}
	require.Equal(t, "return-to-screening", answerOf(t, esge, serrated(report.TypeSSL, "", "5")).Answer, "the name says that there is no dysplasia")
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, serrated(report.TypeTSA, "", "5")).Answer)
	require.Equal(t, "3y", answerOf(t, esge, serrated(report.TypeTSA, report.DysplasiaLow, "5")).Answer)
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, serrated(report.TypeSSL, "", "")).Answer)

	pieces := func(n, size string) *caseReport {
		return first(func(l *report.Lesion) {
			l.Resection.Pieces, l.Examination.SizeLongMm = report.Number{}, report.Number{}
			if n != "" {
				l.Resection.Pieces = figure(n)
			}
			if size != "" {
				l.Examination.SizeLongMm = figure(size)
			}
		})
	}
	require.Equal(t, "3-6mo-then-12mo", answerOf(t, esge, pieces("2", "20")).Answer)
	require.Equal(t, "3y", answerOf(t, esge, pieces("1", "20")).Answer)
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, pieces("", "20")).Answer, "20 mm in an unknown number of pieces")
	require.Equal(t, "3y", answerOf(t, esge, pieces("", "19")).Answer)
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, pieces("2", "")).Answer, "in pieces, of unknown size")
	require.False(t, gives(esge, stated(colonSeen, func(*caseReport) {})), "seen and left")
	require.False(t, gives(esge, colonShallow()), "cancer has its own surveillance")
	require.True(t, gives(esge, first(func(l *report.Lesion) { l.Histology = nil })))
	require.True(t, gives(esge, first(func(l *report.Lesion) { l.Resection = nil })))
	pending := list("5")
	pending.Lesions = append(pending.Lesions, report.Lesion{Number: 2, Examination: report.Examination{Organ: report.Colon, SizeLongMm: figure("9")}, Resection: &report.Resection{Technique: report.EMR}})
	require.Equal(t, CannotBeAssessed, answerOf(t, esge, pending).Answer)
	require.NotContains(t, answerOf(t, esge, pending).Decides, "largest adenoma", "9 mm stays below 10 mm whatever it is")
	require.NotContains(t, answerOf(t, esge, pending).Decides, "serrated lesion of 10 mm")
	pending.Lesions[1].Examination.SizeLongMm = figure("10")
	require.Contains(t, answerOf(t, esge, pending).Decides, "serrated lesion of 10 mm or more: after 3 years if present")
}

// TestAntithromboticDetails goes through the drugs of the guidelines.
func TestAntithromboticDetails(t *testing.T) {
	t.Parallel()
	ask := func(rule string, technique report.Technique, risk report.RiskLevel, drugs ...report.Antithrombotic) Result {
		c := drugsKnown(report.Stomach, technique)()
		c.Before.Antithrombotics, c.Before.ThromboticRisk = drugs, risk
		if technique == "" {
			c.lesion().Resection = nil
		}
		return answerOf(t, rule, c)
	}
	of := func(class report.DrugClass) report.Antithrombotic { return report.Antithrombotic{Class: class} }
	const jges, bsg, memory, resume = "R14.antithrombotic.jges2017", "R14.antithrombotic.bsg_esge2016", "R14.antithrombotic.bsg_esge2021", "R14.antithrombotic.resume.jges2012"
	require.Equal(t, map[string]any{"stop": "3-5 days before"}, ask(jges, report.ESD, report.RiskLow, of(report.Aspirin)).Values)
	require.Equal(t, map[string]any{"interrupt": false}, ask(jges, report.ESD, report.RiskHigh, of(report.Aspirin)).Values)
	require.Equal(t, map[string]any{"stop": "5-7 days before"}, ask(jges, report.ESD, report.RiskLow, of(report.P2Y12)).Values)
	require.Equal(t, map[string]any{"swap": "aspirin or cilostazol"}, ask(jges, report.ESD, report.RiskHigh, of(report.P2Y12)).Values)
	noRisk := ask(jges, report.ESD, "", of(report.Aspirin))
	require.Equal(t, CannotBeAssessed, noRisk.Answer)
	require.Equal(t, []string{"/before/thrombotic_risk"}, noRisk.Missing)
	require.Equal(t, "Cannot be assessed: thrombotic risk not reported.", noRisk.Reason)
	noINR := ask(jges, report.ESD, report.RiskLow, of(report.Warfarin))
	require.Equal(t, []string{"/before/inr"}, noINR.Missing)
	require.Equal(t, "Cannot be assessed: INR not reported.", noINR.Reason)
	several := ask(jges, report.ESD, report.RiskLow, of(report.DOAC), of(report.Aspirin))
	require.Equal(t, "day before", several.Values["direct-oral-anticoagulant.last_dose"])
	require.Equal(t, "3-5 days before", several.Values["aspirin.stop"])
	require.Equal(t, []string{"/before/antithrombotics/0/class", "/before/antithrombotics/1/class"}, several.Inputs)
	require.Equal(t, []string{}, ask(jges, report.ESD, "", of(report.DOAC)).Missing, "the risk is of no matter for it")
	heparin := drugsKnown(report.Stomach, report.ESD)()
	heparin.Before.Antithrombotics = []report.Antithrombotic{of(report.Heparin)}
	require.False(t, gives(jges, heparin), "no line of the guideline names it")

	require.Equal(t, map[string]any{"interrupt": "consider"}, ask(bsg, report.ESD, "", of(report.Aspirin)).Values)
	require.Equal(t, map[string]any{"interrupt": false}, ask(bsg, report.EMR, "", of(report.Aspirin)).Values)
	require.Equal(t, map[string]any{"stop": "5 days before"}, ask(bsg, report.ESD, report.RiskLow, of(report.P2Y12)).Values)
	require.Equal(t, map[string]any{"ask": "cardiology"}, ask(bsg, report.ESD, report.RiskHigh, of(report.P2Y12)).Values)
	require.Equal(t, map[string]any{"stop": "5 days before", "resume": "same evening"}, ask(bsg, report.ESD, report.RiskLow, of(report.Warfarin)).Values)
	require.Equal(t, map[string]any{"stop": "morning of procedure"}, ask(bsg, "", "", of(report.DOAC)).Values)
	require.Equal(t, NotApplicable, ask(bsg, report.ESD, "", of(report.DOAC)).Answer, "its line for resections was not seen")
	require.Equal(t, []string{"/before/thrombotic_risk"}, ask(bsg, report.ESD, "", of(report.Warfarin)).Missing, "warfarin hangs on the risk here, not on the INR")
	require.Equal(t, map[string]any{"stop": "7 days before"}, ask(memory, report.ESD, report.RiskLow, of(report.P2Y12)).Values)
	require.Equal(t, map[string]any{"stop": "3 days before", "resume": "after 2-3 days"}, ask(memory, report.ESD, "", of(report.DOAC)).Values)
	for management, want := range map[report.DrugManagement]string{report.Interrupted: "aspirin: the same drug again once haemostasis is confirmed at endoscopy",
		report.Replaced: "aspirin: the same drug again once haemostasis is confirmed at endoscopy", report.Continued: NotApplicable} {
		require.Equal(t, want, ask(resume, report.ESD, "", report.Antithrombotic{Class: report.Aspirin, Management: management}).Answer)
	}
}

// TestMESDAG: both patterns must be regular to read as non-cancer.
func TestMESDAG(t *testing.T) {
	t.Parallel()
	read := func(mv, ms report.Pattern) string {
		return answerOf(t, "R8.gastric.vs", stated(gastricLesion, func(c *caseReport) {
			c.seen().Demarcation, c.seen().MicroVessel, c.seen().MicroSurf = report.Yes, mv, ms
		})).Answer
	}
	require.Equal(t, "non-cancer", read(report.PatternRegular, report.PatternRegular))
	require.Equal(t, "cancer", read(report.PatternRegular, report.PatternIrregular))
	require.Equal(t, "cancer", read(report.PatternIrregular, ""))
	require.Equal(t, "undetermined", read(report.PatternRegular, report.PatternAbsent))
	require.Equal(t, "undetermined", read(report.PatternAbsent, report.PatternRegular))
	require.Equal(t, CannotBeAssessed, read(report.PatternRegular, ""))
}

// TestReasonsNameTheirFigures: a sentence rests on the figures that it names,
// and names none that is not there.
func TestReasonsNameTheirFigures(t *testing.T) {
	t.Parallel()
	b := answerOf(t, "R2.gastric.curability.ecura", stated(gradedA, intoSM("420")))
	require.Equal(t, "Differentiated cancer less than 500 µm into the submucosa, up to 30 mm, en bloc with clear margins and no vessel invasion: eCura B (submucosal depth 420 µm, size on the map 18 mm, number of pieces: 1).", b.Reason)
	require.Equal(t, SecondHand, b.Confirmed)
	a := answerOf(t, "R2.gastric.curability.ecura", gradedA())
	require.NotContains(t, a.Reason, "submucosal depth", "nothing has invaded")
	require.Equal(t, "A demarcation line with an irregular vessel or surface pattern: reads as cancer.", answerOf(t, "R8.gastric.vs", stated(gastricLesion, func(c *caseReport) {
		c.seen().Demarcation, c.seen().MicroVessel, c.seen().MicroSurf = report.Yes, report.PatternIrregular, report.PatternRegular
	})).Reason)
	flat := answerOf(t, "R8.morph.paris", stated(colonSeen, func(c *caseReport) { c.seen().HeightMm, c.seen().Pedicle = figure("1.5"), report.No }))
	require.Equal(t, "Raised up to the limit: 0-IIa (height 1.5 mm).", flat.Reason)
	require.Equal(t, []string{"/session/kind"}, func() []string {
		k := look{rep: &report.Report{}}
		return []string{k.occasion()}
	}())
	event := uneventful(report.EventOther, report.Stomach)()
	event.event().Lesion = 0
	require.Equal(t, 0, answerOf(t, "R9.ae.agree2022", event).Lesion)
}

// TestWouldDecideAtTheMucosa words the depth where nothing is known of it.
func TestWouldDecideAtTheMucosa(t *testing.T) {
	t.Parallel()
	c := stated(gradedA, func(c *caseReport) { c.histology().PT, c.histology().TumourLongMm = "", figure("25") })
	require.Equal(t, "depth of invasion: A within the mucosa, B in the submucosa and below 500 µm, C-2 from 500 µm", answerOf(t, "R2.gastric.curability.ecura", c).Decides)
	width := stated(squamousCase, func(c *caseReport) { c.resection().DefectCircumferencePct = report.Number{} })
	require.Equal(t, "share of the circumference that the defect takes: not called for up to 75%, steroid prophylaxis recommended above 75%", answerOf(t, "R5.oeso.stricture.korea2020", width).Decides)
	prague := stated(func() *caseReport { return prague("1") }, func(c *caseReport) { c.seen().PragueMCm = report.Number{} })
	require.Equal(t, "maximal Barrett extent: no interval named below 1 cm, every 5 years from 1 cm and below 3 cm, every 3 years from 3 cm and below 10 cm, in an expert centre from 10 cm",
		answerOf(t, "R5.oeso.barrett.surveillance.esge2023", prague).Decides)
	both := finding{name: "x", unit: "mm", cuts: []cut{{at: 10}, {at: 10, fromIt: true}, {at: 20}}}
	require.Equal(t, []cut{{at: 10, fromIt: true}, {at: 10}, {at: 20}}, both.sortedCuts())
	require.Equal(t, []float64{9, 10, 15, 21}, both.candidates()[:4])
	require.Equal(t, 1, cut{at: 10}.compare(cut{at: 10, fromIt: true}))
	require.Equal(t, 0, cut{at: 10}.compare(cut{at: 10}))
}

// TestDuodenalSurveillance is from memory and about the duodenum only.
func TestDuodenalSurveillance(t *testing.T) {
	t.Parallel()
	require.True(t, gives("R11.surveillance.duodenum.esge2021", specimen(report.Duodenum)))
	require.False(t, gives("R11.surveillance.duodenum.esge2021", specimen(report.Stomach)))
}

// TestEnumerated joins names as a sentence does.
func TestEnumerated(t *testing.T) {
	t.Parallel()
	for want, parts := range map[string][]string{"": nil, "a": {"a"}, "a and b": {"a", "b"}, "a, b and c": {"a", "b", "c"}} {
		require.Equal(t, want, enumerated(parts))
	}
}
