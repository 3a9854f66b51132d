// Package layout sets text for people who read a terminal: paragraphs, labelled
// lines and tables that keep within a width.
//
// It promises that nothing is cut off and no line of text is too long: what does
// not fit is wrapped. Meaning never hangs on colour: a
// severity is always a word, which colour may only underline.
package layout

import (
	"io"
	"os"
	"strconv"

	"golang.org/x/term"
)

// Widths in columns. Lines longer than MaxWidth are hard to read, however wide
// the window is; below minWidth a table cannot be set.
const (
	MaxWidth = 100
	minWidth = 48
)

// Page writes laid-out text. Its errors are remembered and returned by
// [Page.Err], so that a caller can write a whole page and ask once.
type Page struct {
	w      io.Writer
	width  int
	colour bool
	err    error
}

// New returns a Page for the writer: as wide as the terminal where w is one,
// else as COLUMNS says, else MaxWidth. It colours only on a terminal, and never
// when NO_COLOR is set (https://no-color.org) or TERM is "dumb".
func New(w io.Writer, env func(string) string) *Page {
	p := &Page{w: w, width: MaxWidth}
	if columns, err := strconv.Atoi(env("COLUMNS")); err == nil {
		p.width = columns
	}
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		if columns, _, err := term.GetSize(int(f.Fd())); err == nil {
			p.width = columns
		}
		p.colour = env("NO_COLOR") == "" && env("TERM") != "dumb"
	}
	p.width = min(max(p.width, minWidth), MaxWidth)
	return p
}

// Width is the number of columns of the page.
func (p *Page) Width() int { return p.width }

// Err is the first error of writing.
func (p *Page) Err() error { return p.err }

// line writes one line without trailing blanks.
func (p *Page) line(text string) {
	if p.err != nil {
		return
	}
	end := len(text)
	for end > 0 && text[end-1] == ' ' {
		end--
	}
	_, p.err = io.WriteString(p.w, text[:end]+"\n")
}
