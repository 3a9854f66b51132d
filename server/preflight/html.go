package preflight

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"io"
	"slices"
)

//go:embed page.html
var pageText string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"word": func(s Status) string {
		return map[Status]string{Pass: "good", Warn: "watch", Fail: "fails", Info: "note", Skip: "not tried"}[s]
	},
}).Parse(pageText))

// grouped are the checks of one group.
type grouped struct {
	Name   string
	Checks []Check
}

// WriteHTML writes the page for people. It needs nothing from elsewhere, runs
// nothing, and prints on paper.
func (p Report) WriteHTML(w io.Writer) error {
	var groups []grouped
	for _, c := range p.Checks {
		i := slices.IndexFunc(groups, func(g grouped) bool { return g.Name == c.Group })
		if i < 0 {
			i = len(groups)
			groups = append(groups, grouped{Name: c.Group})
		}
		groups[i].Checks = append(groups[i].Checks, c)
	}
	err := pageTemplate.Execute(w, map[string]any{"R": p, "Groups": groups, "Counts": p.Counts(),
		"Date": p.Started.Format("2006-01-02 15:04 UTC"), "Seconds": fmt.Sprintf("%.1f", float64(p.Millis)/1000)})
	if err != nil {
		return fmt.Errorf("writing page: %w", err)
	}
	return nil
}

// Counts are how many checks ended how.
type Counts struct{ Pass, Warn, Fail, Info, Skip int }

// Counts counts the checks by their outcome.
func (p Report) Counts() Counts {
	var n Counts
	for _, c := range p.Checks {
		*map[Status]*int{Pass: &n.Pass, Warn: &n.Warn, Fail: &n.Fail, Info: &n.Info, Skip: &n.Skip}[c.Status]++
	}
	return n
}
