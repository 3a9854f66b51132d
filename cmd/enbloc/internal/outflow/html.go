package outflow

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"io"

	"enbloc/mapping/pseudo"
)

//go:embed page.html
var pageText string

var pageTemplate = template.Must(template.New("page").Parse(pageText))

type section struct {
	Class, Heading string
	Rows           []Row
}

// WriteHTML writes the page for people. It needs nothing from elsewhere, runs
// nothing, and prints on paper.
func (s Sheet) WriteHTML(w io.Writer) error {
	var sections []section
	for _, v := range Verdicts {
		sections = append(sections, section{string(v), Headings[v], s.Of(v)})
	}
	dates := "moved back by one number of whole days for each patient, 1 to 365; intervals stay, times are in UTC"
	if s.Dates == pseudo.Month {
		dates = "cut to year and month"
	}
	counts := map[string]int{}
	for v, n := range s.Fields {
		counts[string(v)] = n
	}
	if err := pageTemplate.Execute(w, map[string]any{"S": s, "N": counts, "Sections": sections, "Dates": dates}); err != nil {
		return fmt.Errorf("writing page: %w", err)
	}
	return nil
}
