package demo

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/cmd/enbloc/internal/view"
	"enbloc/mapping/assess"
	"enbloc/mapping/report"
	"enbloc/server/practice"
	"enbloc/testdata/cases"
)

// label is the width of the first column of a case's block.
const label = 12

func introduce(p *layout.Page, w *world, todo []cases.Case) {
	documents := 0
	for _, c := range todo {
		documents += len(c.Documents)
	}
	p.Heading("enbloc demo: " + strconv.Itoa(len(todo)) + " invented cases, " + strconv.Itoa(documents) + " documents")
	p.Item(0, label, "Service", w.serviceURL+", in this process, store in a temporary folder")
	p.Item(0, label, "Receiver", w.receiverURL+", "+practice.Notice+". It is no hospital's server: it understands the FHIR calls that "+
		"enbloc makes and labels every answer as practice")
	p.Item(0, label, "Writing", "rung 2: conditional create first, then update under the receiver's id and version; everything is read back")
	p.Gap()
}

// show prints one case: what it is, what was accepted, found, derived,
// delivered and read back.
func (c played) show(p *layout.Page, number int) {
	p.Heading("Case " + strconv.Itoa(number) + ": " + strings.TrimLeft(strings.ReplaceAll(c.example.Name, "-", " "), "0123456789 "))
	p.Text(0, c.example.Point)
	for _, l := range c.rep.Lesions {
		p.Text(0, view.LesionLine(l))
	}
	p.Gap()
	p.Item(0, label, "Accepted", c.accepted())
	c.showFindings(p)
	c.showAnswers(p)
	for _, s := range c.steps {
		p.Item(0, label, "Delivered", s.deliveredText())
	}
	p.Item(0, label, "Read back", c.readBack())
	p.Gap()
}

func (c played) accepted() string {
	var parts []string
	for _, s := range c.steps {
		name := strings.TrimSuffix(s.document.File, ".json")
		switch {
		case s.refused != nil:
			parts = append(parts, fmt.Sprintf("%s REFUSED with %d: %s", name, s.status, s.refused.Detail))
		case s.receipt.Case == "":
			parts = append(parts, name+" waits for its case")
		default:
			parts = append(parts, fmt.Sprintf("%s (state %d)", name, s.receipt.Sequence))
		}
	}
	text := strings.Join(parts, ", ")
	if c.key != "" {
		text += "; case " + view.ShortKey(c.key)
	}
	return text
}

// mostFindings keeps a block readable; the count above it is complete.
const mostFindings = 4

func (c played) showFindings(p *layout.Page) {
	if c.withdrawn {
		p.Item(0, label, "Found", "nothing is asked of a withdrawn case")
		return
	}
	p.Item(0, label, "Found", view.Count(c.findings))
	shown := 0
	for _, severity := range []report.Severity{report.Error, report.Warning, report.Advice} {
		for _, f := range c.findings {
			if f.Severity != severity {
				continue
			}
			if shown == mostFindings {
				p.Text(label, fmt.Sprintf("… and %d more", len(c.findings)-shown))
				return
			}
			p.Item(label, 9, view.Severity(f.Severity), f.Text+" ("+f.Pointer+")")
			shown++
		}
	}
}

// mainRules are the questions that an endoscopist asks first (was it curative,
// what can still go wrong, what next), by a part of the rule's id; the others
// are counted.
var mainRules = []string{
	".curability", ".lnm.", "R4.bleed.", ".stricture.", "colorectal.t1.", "R7.duodenum.",
	".asge2010", ".agree2022", ".pecs", "R11.surveillance.",
}

func isMain(r assess.Result) bool {
	return slices.ContainsFunc(mainRules, func(word string) bool { return strings.Contains(r.Rule, word) })
}

func (c played) showAnswers(p *layout.Page) {
	if c.withdrawn {
		p.Item(0, label, "Derived", "nothing: the report was withdrawn, so the whole case is void")
		return
	}
	open, other := 0, 0
	var shown []assess.Result
	for _, r := range c.assessment {
		switch {
		case isMain(r) && r.Answer != assess.NotApplicable:
			shown = append(shown, r)
		case r.Answer == assess.CannotBeAssessed:
			open++
		default:
			other++
		}
	}
	p.Item(0, label, "Derived", fmt.Sprintf("%d answers; left out here are %d more and %d that cannot be assessed", len(c.assessment), other, open))
	for _, r := range shown {
		p.Item(label, 2, "-", subject(r)+view.Title(r)+": "+view.Answer(r))
		if r.Answer == assess.CannotBeAssessed {
			p.Text(label+4, r.Reason)
		}
		p.Text(label+4, strings.TrimSuffix(r.Guideline+", "+r.Edition, ", ")+"; "+view.Confirmed(r.Confirmed))
	}
}

// subject names the lesion or event that an answer is about.
func subject(r assess.Result) string {
	switch {
	case r.Event != "":
		return "Event: "
	case r.Lesion > 0:
		return "Lesion " + strconv.Itoa(r.Lesion) + ": "
	}
	return ""
}

func (s step) deliveredText() string {
	if s.receipt.Case == "" {
		return strings.TrimSuffix(s.document.File, ".json") + ": nothing to deliver yet"
	}
	text := fmt.Sprintf("state %d: %d created, %d updated, %d unchanged", s.receipt.Sequence, s.created, s.updated, s.unchanged)
	if !stands(s.delivery.State) {
		text += "; FAILED: " + s.delivery.State + ", " + s.delivery.Explanation
	}
	return text
}

func (c played) readBack() string {
	if c.delivered() {
		return "equal to what was sent"
	}
	return "FAILED: not everything stands as it was sent"
}

func (r replayed) show(p *layout.Page) {
	p.Heading("Everything sent once more")
	p.Text(0, fmt.Sprintf("%d documents sent: %d answered as the first time, %d refused as older than what is there, %d neither. "+
		"Resources written at the receiver: %d.", r.documents, r.same, r.older, r.documents-r.same-r.older, r.writes))
	p.Gap()
	var rows [][]string
	before, after := 0, 0
	for _, kind := range r.types() {
		rows = append(rows, []string{kind, strconv.Itoa(r.before[kind]), strconv.Itoa(r.after[kind])})
		before, after = before+r.before[kind], after+r.after[kind]
	}
	rows = append(rows, []string{"all", strconv.Itoa(before), strconv.Itoa(after)})
	p.Table(0, []string{"At the receiver", "after the first sending", "after the second"}, rows)
	p.Gap()
	if r.unchanged() {
		p.Text(0, "Nothing doubled, nothing changed.")
	} else {
		p.Text(0, "FAILED: the second sending changed something.")
	}
	p.Gap()
}

func conclude(p *layout.Page, good bool, took time.Duration) {
	if good {
		p.Title(fmt.Sprintf("All delivered and read back equal, in %.1f s.", took.Seconds()))
	} else {
		p.Title("FAILED: not everything was delivered as it should be; see above.")
	}
	p.Text(0, view.Disclaimer)
}

// invite says where to look while service and receiver stay open.
func invite(p *layout.Page, w *world, all []played) {
	p.Gap()
	p.Heading("Open until Ctrl-C")
	p.Text(0, "In a browser, the address of a case shows its report as it is read and signed.")
	p.Item(0, label, "API", w.serviceURL+" (a page in the browser), "+w.serviceURL+"/cases, "+w.serviceURL+"/deliveries, "+w.serviceURL+"/metrics")
	for i, c := range all {
		if c.key != "" {
			p.Item(0, label, "Case "+strconv.Itoa(i+1), w.serviceURL+"/cases/"+c.key)
		}
	}
	p.Item(0, label, "Receiver", w.receiverURL+"/DiagnosticReport, "+w.receiverURL+"/metadata")
}
