package fhir

import (
	"cmp"
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

// confirmedShort says the same in a column of a table.
var confirmedShort = map[assess.Confirmed]string{
	assess.Primary: "in the publication", assess.SecondHand: "second-hand", assess.Transcription: "transcription only",
	assess.Memory: "not confirmed, from memory", assess.Arithmetic: "by calculation",
}

// deciding are the questions that are asked first after a resection, by a part
// of the rule's id and in this order: was it curative, how are the margins,
// what can still go wrong, and when is the next look.
var deciding = []string{
	".curability.", "R5.oeso.eac.curability", "colorectal.t1.", "metric.definitions", ".lnm.", "R4.bleed.", ".stricture.",
	".asge2010", ".agree2022", "R2.gastric.next", "R11.surveillance.",
}

// pathological are the questions that a summary of histology answers.
var pathological = []string{
	".curability.", "R5.oeso.eac.curability", "colorectal.t1.", "jcog0508", "metric.definitions", "metric.r0", "metric.complete", "metric.curative",
	".lnm.", "colorectal.budding", "histology_group", "R2.gastric.next", "R11.surveillance.",
}

func ofPathology(r assess.Result) bool { return rank(r.Rule, pathological) < len(pathological) }

// rank is the place of a rule in a list of questions, its length for none.
func rank(rule string, list []string) int {
	if strings.HasSuffix(rule, ".h_pylori") {
		return len(list) // told among the rest: it hangs neither on histology nor on curability
	}
	if i := slices.IndexFunc(list, func(part string) bool { return strings.Contains(rule, part) }); i >= 0 {
		return i
	}
	return len(list)
}

// answers are the results that one text tells, with the sources that they are
// numbered by.
type answers struct {
	all     []answer
	common  []string // cautions that stand on every answer
	sources []string // in the order in which they are first named
}

// answer is a result with its place among the questions that decide, and its
// source as the list at the end prints it.
type answer struct {
	*assess.Result
	rank     int
	citation string
}

func (a answer) decides() bool { return a.rank < len(deciding) }

func newAnswers(results []assess.Result) *answers {
	results = sorted(results)
	all := make([]answer, len(results))
	for i := range results {
		r := &results[i]
		all[i] = answer{r, rank(r.Rule, deciding), citation(r)}
	}
	slices.SortStableFunc(all, func(a, b answer) int { return cmp.Compare(a.rank, b.rank) })
	return &answers{all: all, common: commonCautions(all)}
}

// about picks results, those that decide first.
func (a *answers) about(belongs func(answer) bool) []answer {
	var some []answer
	for _, r := range a.all {
		if belongs(r) {
			some = append(some, r)
		}
	}
	return some
}

// citation is a source as the list at the end prints it.
func citation(r *assess.Result) string {
	return strings.Join(nonEmpty(strings.Join(nonEmpty(r.Guideline, r.Edition), ", "), r.Source), ". ")
}

// by names who says so, with the number of the source.
func (a *answers) by(r answer) string {
	n := slices.Index(a.sources, r.citation) + 1
	if n == 0 {
		a.sources = append(a.sources, r.citation)
		n = len(a.sources)
	}
	const noBreak = "\u00a0"
	return strings.ReplaceAll(strings.Join(nonEmpty(cmp.Or(r.Short, r.Guideline), "["+strconv.Itoa(n)+"]"), " "), " ", noBreak)
}

// summary writes the answers that decide, as a narrow table. Questions that
// wait for histology are named below it, together.
func (a *answers) summary(x *xhtml, results []answer) {
	var rows [][]string
	var waiting []string
	for _, r := range results {
		switch {
		case !r.decides() || r.Answer == assess.NotApplicable || r.Answer == notCovered:
		case waits(r):
			waiting = append(waiting, r.Title)
		default:
			answer, confirmed := r.Text(), confirmedShort[r.Confirmed]
			if !r.Settled() {
				answer, confirmed = answer+", see below", ""
			}
			rows = append(rows, []string{r.Title, answer, a.by(r), confirmed})
		}
	}
	x.grid([]string{"Question", "Answer", "By", "Confirmed"}, 1, rows)
	if len(waiting) > 0 {
		x.paragraph("Waiting for the histology: " + strings.Join(waiting, "; ") + ".")
	}
}

// notCovered is the answer of a rule on a case that its rows leave out.
const notCovered = "not-by-this-rule"

// waits reports whether nothing but the histology is missing.
func waits(r answer) bool {
	return r.Answer == assess.CannotBeAssessed && len(r.Missing) == 1 && strings.HasSuffix(r.Missing[0], "/histology")
}

// shortOf is a reason without its full stop, for a cell of a table.
func shortOf(reason string) string { return lowerFirst(strings.TrimSuffix(reason, ".")) }

// details writes every answer with its reason, then what cannot be assessed
// with what would decide it, and at last what does not concern the lesion.
func (a *answers) details(x *xhtml, results []answer) {
	var settled, open [][]string
	var none []string
	for _, r := range results {
		switch r.Answer {
		case assess.NotApplicable:
			none = append(none, r.Title+" ("+shortOf(r.Reason)+")")
		case assess.CannotBeAssessed:
			if !waits(r) {
				open = together(open, []string{r.Title, missingWords(r.Reason), r.Decides, a.by(r)})
			}
		default:
			settled = append(settled, []string{r.Title, answerCell(r), a.by(r)})
		}
	}
	if len(settled)+len(open) > 0 {
		x.minor("Answers with their reasons")
	}
	x.grid([]string{"Question", "Answer and reason", "By"}, -1, settled)
	x.grid([]string{"Cannot be assessed", "Missing", "What it would decide", "By"}, -1, open)
	if len(none) > 0 {
		x.paragraph("Does not apply: " + strings.Join(none, "; ") + ".")
	}
}

// together adds a row to those that cannot be assessed. Questions of one source
// that lack the same are one row: what would decide the first, decides them all.
func together(rows [][]string, row []string) [][]string {
	for i, r := range rows {
		if r[1] == row[1] && r[3] == row[3] {
			rows[i] = []string{r[0] + "; " + lowerFirst(row[0]), r[1], cmp.Or(r[2], row[2]), r[3]}
			return rows
		}
	}
	return append(rows, row)
}

// missingWords is what is missing, without the words that the heading says.
func missingWords(reason string) string {
	return strings.TrimSuffix(strings.TrimPrefix(reason, "Cannot be assessed: "), ".")
}

// answerCell is the answer and why; a reason that only repeats it is said once.
func answerCell(r answer) string {
	text := upperFirst(r.Reason)
	if !strings.Contains(strings.ToLower(r.Reason), strings.ToLower(r.Text())) {
		text = upperFirst(r.Text()) + ". " + r.Reason
	}
	return strings.Join(nonEmpty(text, riskWords(r.Risk), r.Decides), " ")
}

// close writes what is said once for all answers: the sources by number, each
// with its cautions, and who decides.
func (a *answers) close(x *xhtml) {
	if len(a.sources) > 0 {
		x.subheading("Sources and cautions")
	}
	for _, c := range a.common {
		x.paragraph(c)
	}
	x.paragraph("Answers of rules say what a publication says about the facts as reported. They decide nothing: " +
		"the local protocol and the responsible licensed clinicians do.")
	if len(a.sources) > 0 {
		items := make([]string, len(a.sources))
		for i, source := range a.sources {
			items[i] = strings.Join(append([]string{"[" + strconv.Itoa(i+1) + "] " + stopped(source)}, a.cautionsOf(source)...), " ")
		}
		x.list(items...)
	}
}

// cautionsOf are the cautions of one source, each once, with the questions or
// lesions that it stands on where it does not stand on all of them.
func (a *answers) cautionsOf(source string) []string {
	of := a.about(func(r answer) bool { return r.citation == source && r.Answer != assess.NotApplicable })
	var general, single, done []string
	last := ""
	for _, r := range of {
		for _, c := range r.Cautions {
			if slices.Contains(a.common, c) || slices.Contains(done, c) {
				continue
			}
			done = append(done, c)
			switch on := whom(c, of); {
			case on == "":
				general = append(general, c)
			case on == last:
				single = append(single, c)
			default:
				last, single = on, append(single, "Caution on "+on+": "+c)
			}
		}
	}
	if len(general) > 0 {
		general[0] = "Caution: " + general[0]
	}
	return append(general, single...)
}

// whom names the questions and lesions that a caution belongs to, "" when it
// belongs to all that the source answers.
func whom(caution string, of []answer) string {
	var titles, lesions []string
	all := true
	for _, r := range of {
		if !slices.Contains(r.Cautions, caution) {
			all = false
			continue
		}
		if !slices.Contains(titles, r.Title) {
			titles = append(titles, r.Title)
		}
		if n := strconv.Itoa(r.Lesion); r.Lesion > 0 && !slices.Contains(lesions, n) {
			lesions = append(lesions, n)
		}
	}
	if all {
		return ""
	}
	name := strings.Join(titles, "; ")
	if len(lesions) > 0 {
		name += ", lesion " + strings.Join(lesions, ", ")
	}
	return lowerFirst(name)
}

// commonCautions are those that stand on every answer: they are said once, at
// the end.
func commonCautions(results []answer) []string {
	if len(results) == 0 {
		return nil
	}
	common := slices.Clone(results[0].Cautions)
	for _, r := range results[1:] {
		common = slices.DeleteFunc(common, func(c string) bool { return !slices.Contains(r.Cautions, c) })
	}
	return common
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
	switch {
	case r.Denominator == 0:
	case r.Events > 0 || r.Pct == 0:
		text += ", " + strconv.Itoa(r.Events) + " of " + strconv.Itoa(r.Denominator)
	default: // a denominator without numerator must not read as "0 of n"
		text += ", n = " + strconv.Itoa(r.Denominator)
	}
	return join(text, r.Setting) + "."
}
