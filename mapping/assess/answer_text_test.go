package assess

import (
	"math/rand/v2"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// raw is what a class looks like that nobody put into words.
var raw = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)+$|[a-z]-(may|of|first|acceptable|suggested)|\d(y|mo)\b|\b(SM2|M-SM1|massive-SM)\b|\*`)

// hyphened are classes that are written with a hyphen in English too.
var hyphened = []string{"non-cancer", "follow-up", "non-neoplastic"}

func randomReports(n int, seed uint64) []report.Report {
	r := rand.New(rand.NewPCG(20260310, seed))
	out := make([]report.Report, n)
	for i := range out {
		out[i] = randomReport(r)
	}
	return out
}

// Every class of every table reads as words.
func TestEveryClassIsPutIntoWords(t *testing.T) {
	t.Parallel()
	for _, r := range registry {
		if r.scope == ScopeSeries {
			continue
		}
		for _, row := range r.table {
			words := r.text(Result{Rule: r.id, Answer: row.Then})
			require.NotEmpty(t, words)
			if !raw.MatchString(words) {
				continue
			}
			require.Contains(t, hyphened, words, "%s: %s", r.id, row.Then)
		}
	}
}

func TestAnswersInWords(t *testing.T) {
	t.Parallel()
	by := map[string]*rule{}
	for _, r := range registry {
		by[r.id] = r
	}
	for _, c := range []struct{ rule, answer, want string }{
		{"R11.surveillance.colorectal_cancer.esge2019", "1y", "after 1 year"},
		{"R11.surveillance.esge2020", "3-6mo-then-12mo", "after 3 to 6 months, then after 12 months"},
		{"R11.surveillance.gastric.jges2020", "endoscopy-6-to-12mo-and-imaging", "endoscopy every 6 to 12 months and imaging"},
		{"R5.oeso.barrett.surveillance.esge2023", "3y", "every 3 years"},
		{"R4.bleed.limoges", "low-medium", "low to medium risk"},
		{"R4.bleed.debe", "1", "1 point"},
		{"R4.bleed.debe", "14", "14 points"},
		{"R7.duodenum.esge2021", "not-by-this-rule", "not covered by this rule"},
		{"R10.metric.definitions", "complete-r0", "complete (R0)"},
		{"R10.metric.definitions", "not-en-bloc", "not en bloc"},
		{"R10.metric.specimen_area", "955", "955 mm²"},
		{"R2.gastric.curability.ecura", "C-2", "eCura C-2"},
		{"R2.gastric.curability.ecura", CannotBeAssessed, "cannot be assessed"},
		{"R6.colorectal.t1.esge2022", "very-low", "very low risk"},
		{"R8.gastric.vs", "non-cancer", "reads as non-cancer"},
		{"R8.gastric.vs", "undetermined", "left open by the source"},
		{"R9.ae.agree2022", "IIIa", "grade IIIa"},
		{"R9.ae.agree2022", "none", "no adverse event in this scale"},
		{"R9.ae.delayed_bleed_window", "15 days, 30 days", "delayed bleeding within 15 days, 30 days"},
		{"R14.antithrombotic.jges2017", "p2y12-antagonist: stopped 5 to 7 days; aspirin: continued", "P2Y12 antagonist: stopped 5 to 7 days; aspirin: continued"},
	} {
		require.Equal(t, c.want, by[c.rule].text(Result{Rule: c.rule, Answer: c.answer}), "%s %s", c.rule, c.answer)
	}
	require.Equal(t, "type 2A, likely low-grade intramucosal neoplasia",
		by["R6.colorectal.jnet"].text(Result{Answer: "2A", Values: map[string]any{"histology": "low-grade intramucosal"}}))
}

// What rests on memory says so in the words of the answer and in a caution, so
// that neither a table nor a caller who shows one of the two drops it.
func TestMemoryIsSaidWithTheAnswer(t *testing.T) {
	t.Parallel()
	met := 0
	for _, rep := range randomReports(300, 7) {
		for _, got := range DefaultBook().Assess(rep) {
			if got.Confirmed != Memory || !got.Settled() {
				require.NotContains(t, got.AnswerText, "from memory")
				continue
			}
			met++
			require.Regexp(t, `from memory, not confirmed\)$`, got.AnswerText)
			require.Contains(t, got.Cautions, cautionMemory)
		}
	}
	require.Positive(t, met, "some answer rests on memory")
}

// Texts are sentences: they begin with a capital letter or a figure and end
// with a full stop, and no class stands in them as a program writes it.
func TestReasonsAreSentences(t *testing.T) {
	t.Parallel()
	for _, rep := range randomReports(300, 7) {
		for _, got := range DefaultBook().Assess(rep) {
			for _, s := range append([]string{got.Reason}, got.Cautions...) {
				require.Regexp(t, `^([\p{Lu}\d0-9]|sm1|eCura|pMM|pT1|pEP|cMM).*\.$`, s, got.Rule)
			}
			require.NotRegexp(t, `[a-z]-(by-this-rule|then-|options|in-principle)|\d(y|mo)\b`, got.Reason+" "+got.Decides, got.Rule)
			require.NotEmpty(t, got.AnswerText, got.Rule)
			require.NotEmpty(t, got.Short, got.Rule)
		}
	}
}

// A sum that is open lies between nothing and the points of all items: Hatta,
// Gut 2021;70:476 gives BEST-J 0 to 19 points less one per interrupted drug.
func TestOpenSumsStayWithinTheScore(t *testing.T) {
	t.Parallel()
	rep := report.Report{Lesions: []report.Lesion{{Number: 1, Examination: report.Examination{Organ: report.Stomach}, Resection: &report.Resection{Technique: report.ESD}}}}
	require.Contains(t, answerIn(t, rep, "R4.bleed.bestj").Decides, "between 0 and 19 points")
	rep.Before = &report.Before{Antithrombotics: []report.Antithrombotic{{Class: report.Cilostazol}}}
	require.Contains(t, answerIn(t, rep, "R4.bleed.bestj").Decides, "between 0 and 19 points", "stopped or not is open")
}

func answerIn(t *testing.T, rep report.Report, id string) Result {
	t.Helper()
	for _, got := range DefaultBook().Assess(rep) {
		if got.Rule == id {
			return got
		}
	}
	require.Fail(t, "the rule was not asked", id)
	return Result{}
}
