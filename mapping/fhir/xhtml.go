package fhir

import (
	"encoding/xml"
	"strings"
)

// xhtml writes the small part of XHTML that a FHIR narrative may hold. Every
// text goes through escaping; there is no other way in.
type xhtml struct{ b strings.Builder }

// usualPage is the length of most narratives, in bytes: to make room for it at
// once costs less than to copy what is written several times.
const usualPage = 16 << 10

// page is a narrative's div.
func page(write func(*xhtml)) string {
	x := &xhtml{}
	x.b.Grow(usualPage)
	x.b.WriteString(`<div xmlns="http://www.w3.org/1999/xhtml">`)
	write(x)
	x.b.WriteString(`</div>`)
	return x.b.String()
}

// text escapes; bytes and characters that XML cannot hold are taken out.
func (x *xhtml) text(s string) {
	if isPlain(s) {
		x.b.WriteString(strings.TrimSpace(s))
		return
	}
	_ = xml.EscapeText(&x.b, []byte(clean(s))) // a strings.Builder takes every write
}

// isPlain is sure that escaping would change nothing, as it is with most words.
func isPlain(s string) bool {
	for i := range len(s) {
		switch c := s[i]; {
		case c < ' ' || c > '~', c == '<', c == '>', c == '&', c == '"', c == '\'':
			return false
		}
	}
	return true
}

// wrap writes a text in an element; a blank text gives no element, because FHIR
// allows no narrative without content.
func (x *xhtml) wrap(tag, s string) {
	if clean(s) == "" {
		return
	}
	x.b.WriteString("<" + tag + ">")
	x.text(s)
	x.b.WriteString("</" + tag + ">")
}

func (x *xhtml) heading(s string)    { x.wrap("h2", s) }
func (x *xhtml) subheading(s string) { x.wrap("h3", s) }
func (x *xhtml) minor(s string)      { x.wrap("h4", s) }
func (x *xhtml) paragraph(s string)  { x.wrap("p", s) }

// table writes rows of label and text; a row without text is left out, and so
// is a table without rows.
func (x *xhtml) table(rows ...row) {
	open := false
	for _, r := range rows {
		if clean(r.text) == "" {
			continue
		}
		if !open {
			x.b.WriteString("<table><tbody>")
			open = true
		}
		x.b.WriteString("<tr><th>")
		x.text(r.label)
		x.b.WriteString("</th><td>")
		x.text(r.text)
		x.b.WriteString("</td></tr>")
	}
	if open {
		x.b.WriteString("</tbody></table>")
	}
}

// grid writes a table with a line of headings and one strong column, -1 for
// none; without rows it writes nothing.
func (x *xhtml) grid(head []string, strong int, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	x.b.WriteString("<table><thead><tr>")
	for _, h := range head {
		x.wrap("th", h)
	}
	x.b.WriteString("</tr></thead><tbody>")
	for _, cells := range rows {
		x.b.WriteString("<tr>")
		for i, c := range cells {
			open, end := "<td>", "</td>"
			if i == strong {
				open, end = "<td><b>", "</b></td>"
			}
			x.b.WriteString(open)
			x.text(c)
			x.b.WriteString(end)
		}
		x.b.WriteString("</tr>")
	}
	x.b.WriteString("</tbody></table>")
}

// list writes items; blank ones are left out.
func (x *xhtml) list(items ...string) {
	items = nonEmpty(items...)
	if len(items) == 0 {
		return
	}
	x.b.WriteString("<ul>")
	for _, i := range items {
		x.wrap("li", i)
	}
	x.b.WriteString("</ul>")
}

// row is a line of a table.
type row struct{ label, text string }
