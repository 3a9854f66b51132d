package fhir

import (
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/assess"
)

// confirmedWords say how far a rule is confirmed, for people.
var confirmedWords = map[assess.Confirmed]string{
	assess.Primary: "confirmed in the publication itself", assess.SecondHand: "confirmed second-hand only",
	assess.Transcription: "confirmed through a transcription only", assess.Memory: "not confirmed, from memory",
	assess.Arithmetic: "follows by calculation",
}

// resultsPart writes the answers of rules that belong together: answer,
// reason, rule and edition, how far confirmed, what is missing, cautions.
func resultsPart(x *xhtml, heading string, results []assess.Result, common []string, belongs func(assess.Result) bool) {
	open := false
	for _, r := range results {
		if !belongs(r) {
			continue
		}
		if !open {
			x.subheading(heading)
			open = true
		}
		x.paragraph(r.Title + ": " + answerWords(r.Answer) + ". " + r.Reason)
		items := []string{
			join(strings.Join(nonEmpty(r.Guideline, r.Edition), ", "), confirmedWords[r.Confirmed], r.Source),
			riskWords(r.Risk),
		}
		if len(r.Missing) > 0 {
			missing := make([]string, len(r.Missing))
			for i, p := range r.Missing {
				missing[i] = describe(p)
			}
			items = append(items, "Missing: "+strings.Join(missing, "; ")+". "+r.Decides)
		}
		for _, c := range r.Cautions {
			if !slices.Contains(common, c) {
				items = append(items, "Caution: "+c)
			}
		}
		x.list(items...)
	}
}

// commonCautions are those that stand on every answer: they are said once, at
// the end.
func commonCautions(results []assess.Result) []string {
	if len(results) == 0 {
		return nil
	}
	common := slices.Clone(results[0].Cautions)
	for _, r := range results[1:] {
		common = slices.DeleteFunc(common, func(c string) bool { return !slices.Contains(r.Cautions, c) })
	}
	return common
}

// answerWords says an answer; the two that any rule may give in plain words.
func answerWords(answer string) string {
	switch answer {
	case assess.CannotBeAssessed:
		return "cannot be assessed"
	case assess.NotApplicable:
		return "not applicable"
	}
	return answer
}

// riskWords says a published figure with its interval and what it was counted
// on: a rate without these is not to be relied on.
func riskWords(r *assess.Risk) string {
	if r == nil {
		return ""
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	text := "Published: " + r.Of + " " + number(r.Pct) + "%"
	if r.CILow != 0 || r.CIHigh != 0 {
		text += " (95% interval " + number(r.CILow) + " to " + number(r.CIHigh) + ")"
	}
	if r.Denominator > 0 {
		text += ", " + strconv.Itoa(r.Events) + " of " + strconv.Itoa(r.Denominator)
	}
	return join(text, r.Setting)
}
