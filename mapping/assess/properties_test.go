package assess

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// ranks order the classes of a rule from best to worst. "Undetermined" and
// classes that mean the same risk share a step; what is not ranked is not
// compared.
var ranks = map[string][][]string{
	"R1.gastric.indication.jges2020":        {{"absolute-EMR-or-ESD"}, {"absolute-ESD"}, {"relative"}},
	"R1.gastric.indication.esge2015":        {{"absolute"}, {"expanded-A", "expanded-B", "expanded-C", "expanded-D"}, {"outside-criteria"}},
	"R1.gastric.indication.korea2020":       {{"G3"}, {"G4", "G5"}, {"none"}},
	"R2.gastric.curability.ecura":           {{"A"}, {"B"}, {"C-1"}, {"C-2"}},
	"R2.gastric.curability.esge2022":        {{"very-low"}, {"low"}, {"local"}, {"undetermined"}, {"high"}},
	"R5.oeso.scc.curability.esge2022":       {{"very-low"}, {"low"}, {"local"}, {"undetermined"}, {"high"}},
	"R5.oeso.eac.curability.esge2022":       {{"very-low"}, {"low"}, {"local"}, {"undetermined"}, {"high"}},
	"R6.colorectal.t1.esge2022":             {{"very-low"}, {"low"}, {"local"}, {"undetermined"}, {"high"}},
	"R5.oeso.scc.curability.jes":            {{"curative"}, {"non-curative, further treatment undetermined"}, {"non-curative, further treatment recommended"}},
	"R5.oeso.scc.curability.korea2020":      {{"no-additional-treatment"}, {"close-follow-up-can-be-considered"}, {"undetermined"}, {"further-treatment"}},
	"R5.oeso.scc.jcog0508":                  {{"A"}, {"B"}, {"C"}},
	"R5.oeso.eac.curability":                {{"within"}, {"outside"}},
	"R6.colorectal.t1.jsccr":                {{"surveillance"}, {"consider-surgery"}, {"surgery-preferred"}},
	"R3.gastric.lnm.ecura_score":            {{"low"}, {"intermediate"}, {"high"}},
	"R4.bleed.bestj":                        {{"low"}, {"intermediate"}, {"high"}, {"very-high"}},
	"R4.bleed.limoges":                      {{"low-medium"}, {"high"}},
	"R4.bleed.gseed_re":                     {{"low"}, {"average"}, {"high"}},
	"R6.colorectal.smsa":                    {{"I"}, {"II"}, {"III"}, {"IV"}},
	"R9.ae.asge2010":                        {{"incident"}, {"mild"}, {"moderate"}, {"severe"}, {"fatal"}},
	"R9.ae.agree2022":                       {{"none"}, {"I"}, {"II"}, {"IIIa"}, {"IIIb"}, {"IVa"}, {"IVb"}, {"V"}},
	"R5.oeso.stricture.korea2020":           {{"not-triggered"}, {"recommended"}},
	"R5.oeso.stricture.jes2022":             {{"not-triggered"}, {"recommended"}},
	"R10.metric.r0":                         {{"yes"}, {"no"}},
	"R10.metric.en_bloc":                    {{"yes"}, {"no"}},
	"R10.metric.complete.korea2020":         {{"yes"}, {"no"}},
	"R10.metric.curative.jges2020":          {{"yes"}, {"no"}},
	"R10.metric.curative.jes":               {{"yes"}, {"no"}},
	"R11.surveillance.esge2020":             {{"return-to-screening"}, {"3y"}, {"3-6mo-then-12mo"}},
	"R11.surveillance.usmstf2020":           {{"7-10y"}, {"3-5y"}, {"3y", "undetermined"}, {"1y"}, {"6mo"}},
	"R5.oeso.barrett.surveillance.esge2023": {{"none-named"}, {"5y"}, {"3y"}, {"expert-centre"}},
	"R8.colorectal.lst_smi_size":            {{"not-a-spreading-tumour"}, {"4.6%"}, {"9.2%"}, {"16.5%"}},
	"R6.colorectal.budding":                 {{"BD1"}, {"BD2"}, {"BD3"}},
	"R9.ae.hb_fall":                         {{"not-met"}, {"met"}},
}

func rankOf(rule, answer string) int {
	return slices.IndexFunc(ranks[rule], func(step []string) bool { return slices.Contains(step, answer) })
}

// worsening makes a case worse in one way: deeper, larger, one factor more.
type worsening struct {
	name string
	make func(c *caseReport)
}

func more(to func(c *caseReport) *report.Number, by float64) func(c *caseReport) {
	return func(c *caseReport) {
		if v, ok := to(c).Value(); ok {
			*to(c) = report.Float(v + by)
		}
	}
}

var worsenings = []worsening{
	{"larger on the map", more(func(c *caseReport) *report.Number { return &c.histology().TumourLongMm }, 11)},
	{"larger at endoscopy", more(func(c *caseReport) *report.Number { return &c.seen().SizeLongMm }, 11)},
	{"deeper", func(c *caseReport) {
		h := c.histology()
		if !h.PT.Submucosal() {
			h.PT, h.DepthUm = report.PT1b, figure("100")
			return
		}
		more(func(c *caseReport) *report.Number { return &c.histology().DepthUm }, 250)(c)
	}},
	{"expected deeper", func(c *caseReport) {
		c.seen().PredictedDepth, c.seen().PredictedSMUm = report.PredictT1bSM2, report.Number{}
	}},
	{"HM1", func(c *caseReport) { c.histology().HorizontalMargin = report.Positive }},
	{"VM1", func(c *caseReport) { c.histology().VerticalMargin = report.Positive }},
	{"Ly1", func(c *caseReport) { c.histology().LymphaticInvasion = report.Positive }},
	{"V1", func(c *caseReport) { c.histology().VenousInvasion = report.Positive }},
	{"piecemeal", func(c *caseReport) { c.resection().Pieces = report.Int(3) }},
	{"residual", func(c *caseReport) { c.resection().VisibleResidual = report.Yes }},
	{"ulcer", func(c *caseReport) { c.histology().Ulcer, c.seen().Ulcer = report.UlcerScar, report.UlcerScar }},
	{"undifferentiated", func(c *caseReport) {
		h := c.histology()
		h.Grade, h.WorstGrade, c.seen().BiopsyTypes = report.GradePoor, report.GradePoor, []report.HistologyType{report.TypePor2}
		if grouped(h.Types[0]) != unknown {
			h.Types = []report.HistologyType{report.TypePor2}
		}
	}},
	{"undifferentiated part", func(c *caseReport) {
		c.histology().Undifferentiated = &report.Undifferentiated{Present: report.Yes, SizeMm: figure("25"), InSubmucosa: report.Yes}
	}},
	{"budding", func(c *caseReport) { c.histology().Budding = report.BD3 }},
	{"wider defect", more(func(c *caseReport) *report.Number { return &c.resection().DefectCircumferencePct }, 20)},
	{"older", more(func(c *caseReport) *report.Number { return &c.Patient.AgeY }, 20)},
	{"sicker", func(c *caseReport) { c.Before.ASAClass = "4" }},
	{"dialysis", func(c *caseReport) { c.Before.Haemodialysis = report.Yes }},
	{"another drug", func(c *caseReport) {
		c.Before.Antithrombotics = append(c.Before.Antithrombotics, report.Antithrombotic{Class: report.DOAC, Management: report.Continued})
	}},
	{"more nights", more(func(c *caseReport) *report.Number { return &c.event().UnplannedNights }, 4)},
	{"longer admission", more(func(c *caseReport) *report.Number { return &c.event().AdmissionH }, 12)},
	{"intensive care", more(func(c *caseReport) *report.Number { return &c.event().ICUNights }, 1)},
	{"organ failure", more(func(c *caseReport) *report.Number { return &c.event().OrganFailures }, 1)},
	{"transfusion", func(c *caseReport) { c.event().Transfusion = report.Yes }},
	{"death", func(c *caseReport) { c.event().Outcome = report.OutcomeFatal }},
	{"surgery", func(c *caseReport) { interventions(c.event(), report.InterveneSurgery) }},
}

func pick[T any](r *rand.Rand, from ...T) T { return from[r.IntN(len(from))] }

func someSize(r *rand.Rand) report.Number {
	return pick(r, figure("5"), figure("9"), figure("10"), figure("15"), figure("19"), figure("20"), figure("21"), figure("30"), figure("31"), figure("50"), figure("60"))
}

// someCase is a case of which all that the ranked rules ask for is known.
func someCase(r *rand.Rand) *caseReport {
	organ := pick(r, report.Stomach, report.Stomach, report.Oesophagus, report.Colon, report.Rectum)
	c := uneventful(report.EventOther, organ)()
	c.Patient.AgeY = figure(pick(r, "50", "74", "75", "80"))
	c.Before = &report.Before{Indication: report.IntentCurative, AntithromboticHistory: report.HistoryComplete,
		ASAClass: report.ASAClass(pick(r, "1", "2", "3")), Haemodialysis: pick(r, report.Yes, report.No)}
	c.lesion().Resection = &report.Resection{Technique: pick(r, report.ESD, report.ESD, report.EMR), Pieces: report.Int(pick(r, 1, 1, 2)), VisibleResidual: report.No,
		DefectCircumferencePct: figure(pick(r, "50", "75", "80")), Closure: &report.Closure{Result: pick(r, report.ClosureComplete, report.ClosureNone)}}
	e := c.seen()
	e.SizeLongMm, e.Third, e.Multiple, e.Ulcer = someSize(r), pick(r, report.LowerThird, report.MiddleThird), pick(r, report.Yes, report.No), ulcer(r.IntN(2) == 0)
	e.PredictedDepth, e.Paris, e.Access, e.LST = pick(r, report.PredictT1a, report.PredictT1b), []report.ParisType{pick(r, report.Paris0Ip, report.Paris0Is, report.Paris0IIa)}, pick(r, report.AccessEasy, report.AccessDifficult), report.LSTFlatElevated
	e.BiopsyTypes = []report.HistologyType{pick(r, report.TypeTub1, report.TypePor2)}
	e.Site = pick(r, report.SiteAscending, report.SiteSigmoid)
	c.lesion().Histology = someHistology(r, organ, e)
	return c
}

func someHistology(r *rand.Rand, organ report.Organ, e *report.Examination) *report.Histology {
	sign := func() report.Sign { return pick(r, report.Negative, report.Negative, report.Negative, report.Positive) }
	h := &report.Histology{TumourLongMm: someSize(r), HorizontalMargin: sign(), VerticalMargin: sign(), LymphaticInvasion: sign(), VenousInvasion: sign(),
		Ulcer: e.Ulcer, Grade: pick(r, report.GradeWell, report.GradePoor), Budding: pick(r, report.BD1, report.BD2)}
	h.WorstGrade = h.Grade
	h.Undifferentiated = &report.Undifferentiated{Present: report.No}
	h.PT = report.PT1a
	if r.IntN(2) == 0 {
		h.PT, h.DepthUm = report.PT1b, figure(pick(r, "100", "200", "201", "499", "500", "501", "999", "1000", "1001"))
	}
	switch organ {
	case report.Stomach:
		h.Types = []report.HistologyType{pick(r, report.TypeTub1, report.TypePor2)}
	case report.Oesophagus:
		h.Types, e.Mucosa = []report.HistologyType{pick(r, report.TypeSCC, report.TypeAdenocarcinoma)}, report.Squamous
		if h.PT == report.PT1a && h.Types[0] == report.TypeSCC {
			h.PT = pick(r, report.PT1aEP, report.PT1aLPM, report.PT1aMM)
		}
	default:
		h.Types = []report.HistologyType{report.TypeAdenocarcinoma}
	}
	return h
}

// TestWorseningNeverImproves makes cases worse in every way and checks that no
// class gets better. Severity of events, risk of bleeding and surveillance are
// held to it as curability is.
func TestWorseningNeverImproves(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(20260310, 1))
	compared := map[string]int{}
	for range 1500 {
		c := someCase(r)
		before := everything().Assess(c.Report)
		w := worsenings[r.IntN(len(worsenings))]
		worse := &caseReport{Report: changed(t, c.Report, "", "")}
		w.make(worse)
		after := everything().Assess(worse.Report)
		for _, b := range before {
			i := slices.IndexFunc(after, func(a Result) bool { return a.Rule == b.Rule && a.Lesion == b.Lesion && a.Event == b.Event })
			if i < 0 {
				continue
			}
			was, is := rankOf(b.Rule, b.Answer), rankOf(b.Rule, after[i].Answer)
			if was < 0 || is < 0 {
				continue
			}
			compared[b.Rule]++
			if is < was {
				text, _ := json.Marshal(c.Report)
				require.Fail(t, "a worse case got a better class", "%s: %s made %s of %s\n%s", b.Rule, w.name, after[i].Answer, b.Answer, text)
			}
		}
	}
	for _, rule := range []string{"R2.gastric.curability.ecura", "R4.bleed.bestj", "R6.colorectal.t1.jsccr", "R9.ae.agree2022", "R5.oeso.scc.curability.jes"} {
		require.Greater(t, compared[rule], 50, rule)
	}
}

// TestOrderOfLesionsChangesNothing shuffles the lesions of a report.
func TestOrderOfLesionsChangesNothing(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(20260310, 2))
	for range 100 {
		c := someCase(r)
		for n := 2; n <= 4; n++ {
			other := someCase(r).Lesions[0]
			other.Number = n
			c.Lesions = append(c.Lesions, other)
		}
		before := everything().Assess(c.Report)
		shuffled := changed(t, c.Report, "", "")
		r.Shuffle(len(shuffled.Lesions), func(i, j int) {
			shuffled.Lesions[i], shuffled.Lesions[j] = shuffled.Lesions[j], shuffled.Lesions[i]
		})
		after := everything().Assess(shuffled)
		require.Len(t, after, len(before))
		for i := range before {
			require.Equal(t, before[i].Rule, after[i].Rule)
			require.Equal(t, before[i].Lesion, after[i].Lesion)
			require.Equal(t, before[i].Answer, after[i].Answer, before[i].Rule)
			require.Equal(t, before[i].Values, after[i].Values, before[i].Rule)
		}
	}
}

// signs are findings that a report may leave open, with what makes them
// positive and negative.
var signs = []struct {
	path               string
	negative, positive string
}{
	{"lesion/1/histology/horizontal_margin", "negative", "positive"},
	{"lesion/1/histology/vertical_margin", "negative", "positive"},
	{"lesion/1/histology/lymphatic_invasion", "negative", "positive"},
	{"lesion/1/histology/venous_invasion", "negative", "positive"},
	{"lesion/1/histology/ulceration", "absent", "ulcer-scar"},
	{"lesion/1/histology/budding", "BD1", "BD2"},
	{"lesion/1/histology/grade", "well-differentiated", "poorly-differentiated"},
	{"lesion/1/histology/tumour_long_mm", "5", "80"},
	{"lesion/1/examination/size_long_mm", "5", "80"},
	{"lesion/1/examination/ulceration", "absent", "ulcer"},
	{"lesion/1/examination/multiple_tumours", "no", "yes"},
	{"lesion/1/examination/third", "middle", "lower"},
	{"lesion/1/resection/pieces", "1", "2"},
	{"lesion/1/resection/visible_residual", "no", "yes"},
	{"lesion/1/resection/defect_circumference_pct", "10", "90"},
	{"before/haemodialysis", "no", "yes"},
	{"before/asa_class", `"1"`, `"4"`},
	{"patient/age_y", "40", "90"},
	{"event/e1/transfusion", "no", "yes"},
	{"event/e1/icu_nights", "0", "3"},
	{"event/e1/admission_h", "0", "100"},
	{"event/e1/unplanned_nights", "0", "20"},
	{"event/e1/permanent_disability", "no", "yes"},
	{"event/e1/organ_failures", "0", "2"},
	{"event/e1/outcome", "resolved", "fatal"},
}

// changed copies a report and sets one value in the copy; "null" takes it out,
// and an empty path changes nothing.
func changed(t *testing.T, rep report.Report, path, value string) report.Report {
	t.Helper()
	text, err := json.Marshal(rep)
	require.NoError(t, err)
	var tree any
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	require.NoError(t, decoder.Decode(&tree))
	withoutEmpty(tree)
	path = strings.NewReplacer("lesion/1/", "lesions/0/", "event/e1/", "events/0/").Replace(path)
	steps := strings.Split(path, "/")
	at := tree
	for _, step := range steps[:len(steps)-1] {
		if list, ok := at.([]any); ok {
			i, err := strconv.Atoi(step)
			require.NoError(t, err, path)
			at = list[i]
			continue
		}
		parent := at.(map[string]any)
		if parent[step] == nil {
			parent[step] = map[string]any{}
		}
		at = parent[step]
	}
	if path != "" {
		parent, last := at.(map[string]any), steps[len(steps)-1]
		var v any
		if json.Unmarshal([]byte(value), &v) != nil {
			v = value
		}
		parent[last] = v
		if v == nil {
			delete(parent, last)
		}
	}
	text, err = json.Marshal(tree)
	require.NoError(t, err)
	var out report.Report
	require.NoError(t, json.Unmarshal(text, &out))
	return out
}

// withoutEmpty takes out empty strings: a time that was never set writes itself
// as one, and does not read it.
func withoutEmpty(tree any) {
	switch node := tree.(type) {
	case map[string]any:
		for name, v := range node {
			if v == "" {
				delete(node, name)
			}
			withoutEmpty(v)
		}
	case []any:
		for _, v := range node {
			withoutEmpty(v)
		}
	}
}

// TestUnknownIsNeverNegative takes one finding out of a report, in each of the
// ways in which it may be missing. A rule may then still answer, but only what
// it answers whichever way the finding turns out.
func TestUnknownIsNeverNegative(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(20260310, 3))
	open := 0
	for range 400 {
		c := someCase(r)
		s := signs[r.IntN(len(signs))]
		if s.path == "lesion/1/histology/grade" && grouped(c.histology().Types[0]) != unknown {
			continue // the type says what the grade would
		}
		if saidElsewhere(c, s.path) {
			continue
		}
		missing := pick(r, "null", "unknown", "not-assessed")
		if s.path == "event/e1/outcome" || s.path == "lesion/1/histology/grade" {
			missing = "unknown"
		}
		answers := map[string][]Result{}
		for _, value := range []string{missing, s.negative, s.positive} {
			answers[value] = everything().Assess(changed(t, c.Report, s.path, value))
		}
		for _, got := range answers[missing] {
			if got.Answer == CannotBeAssessed {
				open++
				continue
			}
			for _, value := range []string{s.negative, s.positive} {
				i := slices.IndexFunc(answers[value], func(o Result) bool {
					return o.Rule == got.Rule && o.Lesion == got.Lesion && o.Event == got.Event
				})
				if i < 0 || got.Rule == "R1.gastric.histology_group.jgca6" || got.Rule == "R10.metric.definitions" || got.Rule == "R4.bleed.bestj" && s.path == "lesion/1/histology/tumour_long_mm" {
					continue // several answers in one, each of which may be open by itself
				}
				if usesEither(got.Rule) && s.path == "lesion/1/histology/tumour_long_mm" {
					continue // the endoscopist's size stands in for scores
				}
				require.Equal(t, answers[value][i].Answer, got.Answer, "%s with %s %s against %s", got.Rule, s.path, missing, value)
			}
		}
	}
	require.Greater(t, open, 200, "the property was hardly tried")
}

// saidElsewhere reports whether another field of the event says already that
// there was none, so that taking this one out leaves nothing open.
func saidElsewhere(c *caseReport, path string) bool {
	if len(c.Events) == 0 {
		return false
	}
	e := c.Events[0]
	zero := func(n report.Number) bool { v, known := n.Value(); return known && v == 0 }
	switch path {
	case "event/e1/organ_failures":
		return zero(e.ICUNights) || !e.ICUNights.Known() && zero(e.UnplannedNights)
	case "event/e1/icu_nights", "event/e1/admission_h":
		return zero(e.UnplannedNights)
	case "event/e1/permanent_disability":
		return e.Outcome == report.OutcomeResolved
	}
	return false
}

// usesEither names the scores that take the endoscopist's size where there is
// none from the pathologist.
func usesEither(rule string) bool {
	return slices.Contains([]string{"R4.bleed.bestj", "R4.bleed.limoges", "R4.bleed.debe", "R4.bleed.gseed_re"}, rule)
}

// TestSomeCaseIsVaried keeps the generator honest: it reaches every grade.
func TestSomeCaseIsVaried(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(20260310, 4))
	classes := map[string]bool{}
	for range 400 {
		for _, a := range everything().Assess(someCase(r).Report) {
			classes[a.Rule+" "+a.Answer] = true
		}
	}
	for _, want := range []string{"A", "B", "C-1", "C-2"} {
		require.True(t, classes["R2.gastric.curability.ecura "+want], want)
	}
	require.Greater(t, len(classes), 120, strconv.Itoa(len(classes)))
}
