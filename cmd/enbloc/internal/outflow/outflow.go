// Package outflow shows, for people who answer for data protection, what of a
// case leaves for a recipient and what does not, field by field and why. What it
// shows holds patient data: it goes to whoever asked, and nowhere else.
package outflow

import (
	"slices"
	"strings"
	"unicode/utf8"

	"enbloc/mapping/graph"
	"enbloc/mapping/pseudo"
)

// Format is the version of the JSON of a Sheet.
const Format = "enbloc-registry-preview/1"

// Row is one field of one type of resource, over all resources of the case that
// were treated alike.
type Row struct {
	Type string `json:"type"`
	// Path is the elements from the resource down, without list indices.
	Path    string         `json:"path"`
	Verdict pseudo.Verdict `json:"verdict"`
	Reason  pseudo.Reason  `json:"reason"`
	Why     string         `json:"why"`
	// Count is how often the field occurs.
	Count int `json:"count"`
	// From is the first value found, To what leaves in its place.
	From string `json:"from,omitempty"`
	To   string `json:"to,omitempty"`
}

// Sheet is the whole answer.
type Sheet struct {
	Format    string       `json:"format"`
	Recipient string       `json:"recipient"`
	System    string       `json:"system"`
	Dates     pseudo.Dates `json:"dates"`
	AllowList string       `json:"allow_list"`
	// Resources and Left are how many resources the case has, and how many leave.
	Resources int `json:"resources"`
	Left      int `json:"resources_that_leave"`
	// Fields counts the fields by verdict.
	Fields map[pseudo.Verdict]int `json:"fields"`
	// Rows are sorted: what stays, what leaves changed, what leaves as it stands.
	Rows []Row `json:"rows"`
}

// Make lays a case out.
func Make(r *pseudo.Recipient, g graph.Graph) (Sheet, error) {
	out, fields, err := r.Preview(g)
	if err != nil {
		return Sheet{}, err
	}
	s := Sheet{Format: Format, Recipient: r.Name, System: r.System, Dates: r.Dates, AllowList: r.Allow.Version,
		Resources: len(g.Resources), Left: len(out.Resources), Fields: map[pseudo.Verdict]int{}}
	rows := map[Row]*Row{}
	var order []*Row
	for _, f := range fields {
		s.Fields[f.Verdict]++
		key := Row{Type: f.Type, Path: f.Path, Verdict: f.Verdict, Reason: f.Reason}
		row, known := rows[key]
		if !known {
			row = &Row{f.Type, f.Path, f.Verdict, f.Reason, f.Reason.Sentence(), 0, f.From, f.To}
			rows[key] = row
			order = append(order, row)
		}
		row.Count++
	}
	for _, row := range order {
		s.Rows = append(s.Rows, *row)
	}
	slices.SortStableFunc(s.Rows, func(a, b Row) int {
		if c := slices.Index(Verdicts, a.Verdict) - slices.Index(Verdicts, b.Verdict); c != 0 {
			return c
		}
		return strings.Compare(a.Type+"\x00"+a.Path, b.Type+"\x00"+b.Path)
	})
	return s, nil
}

// Verdicts is the order of the page: what stays comes first, as it is what is
// asked for.
var Verdicts = []pseudo.Verdict{pseudo.Stays, pseudo.Changed, pseudo.Leaves}

// Headings name them.
var Headings = map[pseudo.Verdict]string{
	pseudo.Stays: "Stays here", pseudo.Changed: "Leaves, but not as it stands", pseudo.Leaves: "Leaves as it stands",
}

// Of are the rows of a verdict.
func (s Sheet) Of(v pseudo.Verdict) []Row {
	var rows []Row
	for _, r := range s.Rows {
		if r.Verdict == v {
			rows = append(rows, r)
		}
	}
	return rows
}

// Name is the field as people look for it.
func (r Row) Name() string {
	if r.Path == "" {
		return r.Type
	}
	return r.Type + "." + r.Path
}

// longest is how much of an example is shown.
const longest = 60

// Example is the first value, shortened, and what leaves in its place.
func (r Row) Example() string {
	switch r.Verdict {
	case pseudo.Changed:
		if r.From == "" {
			return shortened(r.To)
		}
		return shortened(r.From) + " → " + shortened(r.To)
	}
	return shortened(r.From)
}

func shortened(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if utf8.RuneCountInString(text) <= longest {
		return text
	}
	return string([]rune(text)[:longest-1]) + "…"
}
