package assess

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDefaultBookLeavesMemoryOff(t *testing.T) {
	t.Parallel()
	printed := DefaultBook().Print()
	require.Equal(t, BookVersion, printed.Version)
	off := 0
	for _, d := range printed.Rules {
		require.Equal(t, d.Confirmed != Memory, d.On, d.Rule)
		require.NotEmpty(t, d.Source, d.Rule)
		require.NotEmpty(t, d.Table, "%s has no table to sign", d.Rule)
		require.NotEmpty(t, d.Cautions, d.Rule)
		for _, row := range d.Table {
			require.NotEmpty(t, row.When, d.Rule)
			require.NotEmpty(t, row.Then, "%s: %s", d.Rule, row.When)
			require.NotEmpty(t, row.Confirmed, d.Rule)
		}
		if !d.On {
			off++
		}
	}
	require.Positive(t, off)
	for _, r := range DefaultBook().Assess(gradedA().Report) {
		require.NotEqual(t, "R11.surveillance.gastric.esge", r.Rule, "rests on memory and is off")
	}
}

// TestPrintedShape pins the JSON of the printed book.
func TestPrintedShape(t *testing.T) {
	t.Parallel()
	raw, err := json.Marshal(DefaultBook().Print())
	require.NoError(t, err)
	var doc struct {
		Version string           `json:"version"`
		Rules   []map[string]any `json:"rules"`
	}
	require.NoError(t, json.Unmarshal(raw, &doc))
	require.NotEmpty(t, doc.Rules)
	for _, r := range doc.Rules {
		require.ElementsMatch(t, []string{"rule", "guideline", "edition", "source", "confirmed", "on"}, sortedKeys(r))
	}
}

// TestSwitches turns single rules and whole guidelines on and off.
func TestSwitches(t *testing.T) {
	t.Parallel()
	c := gradedA()
	has := func(b Book, rule string) bool {
		for _, r := range b.Assess(c.Report) {
			if r.Rule == rule {
				return true
			}
		}
		return false
	}
	book := DefaultBook()
	without, err := book.With(Switch{Rule: "R2.gastric.curability.ecura"})
	require.NoError(t, err)
	require.False(t, has(without, "R2.gastric.curability.ecura"))
	require.True(t, has(without, "R2.gastric.curability.esge2022"))
	require.True(t, has(book, "R2.gastric.curability.ecura"), "the book it was made from is left alone")

	japan, err := book.With(Switch{Guideline: "ESGE"}, Switch{Rule: "R10.metric.r0", On: true})
	require.NoError(t, err)
	require.False(t, has(japan, "R2.gastric.curability.esge2022"))
	require.True(t, has(japan, "R10.metric.r0"), "later switches win")

	memory, err := book.With(Switch{Rule: "R11.surveillance.gastric.esge", On: true})
	require.NoError(t, err)
	require.True(t, has(memory, "R11.surveillance.gastric.esge"))
	for _, r := range memory.Assess(c.Report) {
		if r.Rule == "R11.surveillance.gastric.esge" {
			require.Contains(t, r.Cautions, cautionMemory, "a rule from memory says so when on")
		}
	}
	for _, s := range []Switch{{Rule: "R2.nobody"}, {Guideline: "nobody"}, {}} {
		_, err := book.With(s)
		require.Error(t, err)
	}
}

// TestRetractedEventsAreNotAsked: what was entered in error has no severity.
func TestRetractedEventsAreNotAsked(t *testing.T) {
	t.Parallel()
	c := uneventful("bleeding", "stomach")()
	require.NotEmpty(t, eventAnswers(c))
	c.event().Retracted = true
	require.Empty(t, eventAnswers(c))
}

func eventAnswers(c *caseReport) []Result {
	var out []Result
	for _, r := range everything().Assess(c.Report) {
		if r.Event != "" {
			out = append(out, r)
		}
	}
	return out
}

// TestAdviceIsAdvice: no answer commands, and every one says who decides.
func TestAdviceIsAdvice(t *testing.T) {
	t.Parallel()
	for _, d := range DefaultBook().Print().Rules {
		require.Contains(t, d.Cautions[0], "local protocol", d.Rule)
		for _, row := range d.Table {
			for _, command := range []string{"must ", "You ", "you ", "Do not", "Perform"} {
				require.False(t, strings.Contains(row.Then+row.When, command), "%s: %s", d.Rule, row.Then)
			}
		}
	}
}

// TestAnswersAreCopies: what a caller does to an answer reaches no rule.
func TestAnswersAreCopies(t *testing.T) {
	t.Parallel()
	c := drugsKnown("stomach", "esd")()
	c.Before.Haemodialysis, c.seen().Multiple, c.seen().Third, c.seen().SizeLongMm = "no", "no", "middle", figure("20")
	first := answerOf(t, "R4.bleed.bestj", c)
	first.Values["points"], first.Risk.Pct = 99.0, 99
	first.Cautions[0] = "spoilt"
	again := answerOf(t, "R4.bleed.bestj", c)
	require.Equal(t, 0.0, again.Values["points"])
	require.Equal(t, 2.8, again.Risk.Pct)
	require.Equal(t, cautionDecides, again.Cautions[0])
	require.Equal(t, Risk{Of: "bleeding within 28 days", Pct: 2.8, CILow: 2.4, CIHigh: 3.2, Events: 175, Denominator: 6267,
		Setting: "gastric ESD, Japanese multicentre development cohort"}, *again.Risk, "Hatta, Gut 2021;70:476, table of groups")
}

func BenchmarkAssess(b *testing.B) {
	c := gradedA()
	c.Before = drugsKnown("stomach", "esd")().Before
	c.Before.Indication, c.Before.Haemodialysis = "curative", "no"
	c.seen().SizeLongMm, c.seen().Third, c.seen().Multiple, c.seen().Ulcer = figure("18"), "lower", "no", "absent"
	c.seen().BiopsyTypes, c.seen().PredictedDepth = c.histology().Types, "T1a"
	c.Events = uneventful("bleeding", "stomach")().Events
	book := DefaultBook()
	b.ReportAllocs()
	for b.Loop() {
		if len(book.Assess(c.Report)) < 20 {
			b.Fatal("hardly a rule was asked")
		}
	}
}
