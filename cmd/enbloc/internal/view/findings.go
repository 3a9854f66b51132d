package view

import (
	"fmt"
	"strings"

	"enbloc/cmd/enbloc/internal/layout"
	"enbloc/mapping/report"
)

// severityWords are what people read; errors and warnings stand out by capitals.
var severityWords = map[report.Severity]string{report.Error: "ERROR", report.Warning: "WARNING", report.Advice: "advice"}

// Severity is the word that people read.
func Severity(s report.Severity) string { return severityWords[s] }

// severities in order of weight.
var severities = []report.Severity{report.Error, report.Warning, report.Advice}

// labelWidth is the column of severities, wide enough for the longest word.
const labelWidth = 9

// Findings writes every finding, errors first: severity and place, what is the
// matter, the mend, and on what it rests.
func Findings(p *layout.Page, findings []report.Finding) {
	for _, s := range severities {
		for _, f := range findings {
			if f.Severity != s {
				continue
			}
			p.Item(0, labelWidth, severityWords[s], at(f.Pointer))
			p.Text(labelWidth, f.Text)
			if f.Mend != "" {
				p.Item(labelWidth, 8, "Mend:", f.Mend)
			}
			p.Item(labelWidth, 8, "Source:", f.Source+" ["+f.ID+"]")
			p.Gap()
		}
	}
}

// at names a place in a document.
func at(pointer string) string {
	if pointer == "" {
		return "the whole document"
	}
	return pointer
}

// Count is "1 error, 2 warnings, 1 advice", or "nothing found".
func Count(findings []report.Finding) string {
	n := map[report.Severity]int{}
	for _, f := range findings {
		n[f.Severity]++
	}
	var parts []string
	for _, s := range severities {
		if n[s] == 0 {
			continue
		}
		word := string(s)
		if s != report.Advice {
			word = plural(n[s], word)
		}
		parts = append(parts, fmt.Sprintf("%d %s", n[s], word))
	}
	if len(parts) == 0 {
		return "nothing found"
	}
	return strings.Join(parts, ", ")
}

func plural(n int, word string) string {
	if n == 1 {
		return word
	}
	return word + "s"
}
