package layout

import (
	"strings"
	"unicode/utf8"
)

// Gap writes an empty line.
func (p *Page) Gap() { p.line("") }

// Heading writes a line and rules it off.
func (p *Page) Heading(text string) {
	for _, l := range Wrap(Clean(text), p.width) {
		p.line(p.bold(l))
	}
	p.line(strings.Repeat("=", min(utf8.RuneCountInString(text), p.width)))
}

// Title writes a line that stands above what belongs to it.
func (p *Page) Title(text string) {
	for _, l := range Wrap(Clean(text), p.width) {
		p.line(p.bold(l))
	}
}

// Text writes a paragraph, every line indented by so many columns.
func (p *Page) Text(indent int, text string) {
	for _, l := range Wrap(Clean(text), p.width-indent) {
		p.line(strings.Repeat(" ", indent) + l)
	}
}

// Item writes a label and a paragraph beside it; further lines hang under the
// paragraph. The label takes at least labelWidth columns.
func (p *Page) Item(indent, labelWidth int, label, text string) {
	pad := max(labelWidth, utf8.RuneCountInString(label)+1)
	lead := strings.Repeat(" ", indent) + p.paint(label) + strings.Repeat(" ", pad-utf8.RuneCountInString(label))
	lines := Wrap(Clean(text), p.width-indent-pad)
	if len(lines) == 0 {
		lines = []string{""}
	}
	for i, l := range lines {
		if i > 0 {
			lead = strings.Repeat(" ", indent+pad)
		}
		p.line(lead + l)
	}
}

// Wrap breaks text at blanks into lines of at most width columns, one rune
// counted as one column. A word that is longer is broken after one of / | ; , -
// where it has one, as an address has, else anywhere. Line breaks of the text
// are kept; runs of blanks become one.
func Wrap(text string, width int) []string {
	width = max(width, 8)
	var lines []string
	for _, paragraph := range strings.Split(text, "\n") {
		line, used := "", 0
		for _, word := range pieces(strings.Fields(paragraph), width) {
			n := utf8.RuneCountInString(word.text)
			glue := " "
			if word.joined || used == 0 {
				glue = ""
			}
			if used > 0 && used+len(glue)+n > width {
				lines = append(lines, line)
				line, used, glue = "", 0, ""
			}
			line += glue + word.text
			used += len(glue) + n
		}
		lines = append(lines, line)
	}
	if len(lines) == 1 && lines[0] == "" {
		return nil
	}
	return lines
}

// piece is a word, or a part of an overlong one that joins the part before.
type piece struct {
	text   string
	joined bool
}

func pieces(words []string, width int) []piece {
	var out []piece
	for _, w := range words {
		if utf8.RuneCountInString(w) <= width {
			out = append(out, piece{text: w})
			continue
		}
		joined := false
		for w != "" {
			n := breakAfter(w, width)
			out = append(out, piece{text: w[:n], joined: joined})
			w, joined = w[n:], true
		}
	}
	return out
}

// breakAfter is how many bytes of an overlong word go on the first line: up to
// the first mark where it may be broken, or as much as fits.
func breakAfter(w string, width int) int {
	runes := 0
	for i, r := range w {
		runes++
		size := utf8.RuneLen(r)
		if runes > width {
			return i
		}
		if i > 0 && strings.ContainsRune("/|;,-", r) {
			return i + size
		}
	}
	return len(w)
}

// Clean replaces the control characters of text from outside (an escape
// sequence in a document could rewrite the terminal) by U+FFFD.
func Clean(text string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && (r < 0x20 || (r >= 0x7f && r < 0xa0) || (r >= 0x202a && r <= 0x202e) || (r >= 0x2066 && r <= 0x2069)) {
			return utf8.RuneError
		}
		return r
	}, text)
}
