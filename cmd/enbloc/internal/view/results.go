package view

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
)

// Disclaimer stands under every list of answers.
const Disclaimer = "These answers are information for licensed clinicians. They repeat published rules on what was " +
	"reported, defer to local protocol, and are no instruction; who decides is the team that treats the patient."

// confirmedWords say how far a rule was checked against its source.
var confirmedWords = map[assess.Confirmed]string{
	assess.Primary:       "read in the publication",
	assess.SecondHand:    "read second-hand only",
	assess.Transcription: "read in a transcription only",
	assess.Memory:        "NOT CONFIRMED, from memory",
	assess.Arithmetic:    "by calculation",
}

// Confirmed says in words how far a rule is confirmed.
func Confirmed(c assess.Confirmed) string {
	if words, ok := confirmedWords[c]; ok {
		return words
	}
	return string(c)
}

// Answer is what a rule answers, in words.
func Answer(r assess.Result) string { return r.Text() }

// Results writes the answers lesion by lesion, then those about events and the
// session.
func Results(p *layout.Page, rep report.Report, results []assess.Result) {
	common := commonCautions(results)
	for _, l := range rep.Lesions {
		block(p, common, LesionLine(l), slices.DeleteFunc(slices.Clone(results), func(r assess.Result) bool {
			return r.Lesion != l.Number || r.Event != ""
		}))
	}
	for _, e := range rep.Events {
		block(p, common, eventLine(e), slices.DeleteFunc(slices.Clone(results), func(r assess.Result) bool { return r.Event != e.ID }))
	}
	block(p, common, "The session as a whole", slices.DeleteFunc(slices.Clone(results), func(r assess.Result) bool {
		return r.Event != "" || r.Lesion != 0
	}))
	Cautions(p, results)
}

// Cautions writes what holds for all of the answers, once.
func Cautions(p *layout.Page, results []assess.Result) {
	for _, c := range commonCautions(results) {
		p.Item(0, len("Caution: "), "Caution:", c)
	}
	p.Text(0, Disclaimer)
}

// commonCautions are those that stand on every answer: said once at the end,
// so that the ones that belong to a single answer are not lost among them.
func commonCautions(results []assess.Result) []string {
	if len(results) < 2 {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(results[0].Cautions), func(c string) bool {
		return slices.ContainsFunc(results, func(r assess.Result) bool { return !slices.Contains(r.Cautions, c) })
	})
}

func eventLine(e report.Event) string {
	line := "Event: " + Words(string(e.Kind)) + ", " + string(e.Timing) + " the session"
	if when := e.When(); !when.IsZero() {
		line += ", " + when.Day()
	}
	return line
}

func block(p *layout.Page, common []string, title string, results []assess.Result) {
	if len(results) == 0 {
		return
	}
	p.Heading(title)
	for _, r := range results {
		result(p, common, r)
		p.Gap()
	}
}

// indent and label of the lines below an answer.
const (
	indent = 4
	label  = 11
)

func result(p *layout.Page, common []string, r assess.Result) {
	p.Title(Title(r) + ": " + Answer(r))
	p.Text(indent, r.Reason)
	rule := strings.Join(known(r.Guideline, r.Edition), ", ") + "; " + Confirmed(r.Confirmed) + " [" + r.Rule + "]"
	if r.Answer == assess.NotApplicable {
		p.Item(indent, label, "Rule", rule)
		return
	}
	if r.Risk != nil {
		p.Item(indent, label, "Published", riskText(*r.Risk))
	}
	if len(r.Missing) > 0 {
		p.Item(indent, label, "Missing", places(r.Missing))
	}
	if r.Decides != "" {
		p.Item(indent, label, "Decides", r.Decides)
	}
	for _, c := range r.Cautions {
		if !slices.Contains(common, c) {
			p.Item(indent, label, "Caution", c)
		}
	}
	p.Item(indent, label, "Rule", rule)
	p.Item(indent, label, "Source", r.Source)
	p.Item(indent, label, "From", places(r.Inputs))
}

// places lists JSON Pointers; within the lesion or event that the answer
// stands under, the way to it is left out.
func places(pointers []string) string {
	short := make([]string, len(pointers))
	for i, p := range pointers {
		short[i] = p
		if parts := strings.SplitN(p, "/", 4); len(parts) == 4 && (parts[1] == "lesions" || parts[1] == "events") {
			short[i] = parts[3]
		}
	}
	return strings.Join(short, ", ")
}

// Title is the question of a rule, in words.
func Title(r assess.Result) string {
	if r.Title == "" {
		return r.Rule
	}
	return strings.TrimSuffix(r.Title, "?")
}

// known drops the empty texts.
func known(texts ...string) []string {
	return slices.DeleteFunc(texts, func(s string) bool { return s == "" })
}

// riskText is "lymph node metastasis 2.6% (95% CI 1.1 to 5.0%; 7 of 267), in …".
func riskText(r assess.Risk) string {
	out := r.Of + " " + pct(r.Pct) + "%"
	var detail []string
	if r.CILow != 0 || r.CIHigh != 0 {
		detail = append(detail, "95% CI "+pct(r.CILow)+" to "+pct(r.CIHigh)+"%")
	}
	if r.Denominator > 0 {
		// A published denominator without numerator must not read as "0 of n".
		if r.Events > 0 || r.Pct == 0 {
			detail = append(detail, fmt.Sprintf("%d of %d", r.Events, r.Denominator))
		} else {
			detail = append(detail, fmt.Sprintf("n = %d", r.Denominator))
		}
	}
	if len(detail) > 0 {
		out += " (" + strings.Join(detail, "; ") + ")"
	}
	if r.Setting != "" {
		out += ", " + r.Setting
	}
	return out
}

func pct(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
