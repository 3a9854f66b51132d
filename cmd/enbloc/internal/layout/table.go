package layout

import (
	"strings"
	"unicode/utf8"
)

// between is what stands between two columns of a table.
const between = "  "

// Table writes rows under titles. Columns take the width of their longest cell;
// when that is more than the page has, the widest columns shrink first and
// their cells are wrapped.
func (p *Page) Table(indent int, titles []string, rows [][]string) {
	p.table(indent, titles, rows, false)
}

// SpacedTable is a Table with an empty line between rows, for cells of
// several sentences.
func (p *Page) SpacedTable(indent int, titles []string, rows [][]string) {
	p.table(indent, titles, rows, true)
}

func (p *Page) table(indent int, titles []string, rows [][]string, spaced bool) {
	widths := columnWidths(titles, rows, p.width-indent-len(between)*(len(titles)-1))
	p.row(indent, widths, titles, p.bold)
	rule := make([]string, len(titles))
	for i, w := range widths {
		rule[i] = strings.Repeat("-", w)
	}
	p.row(indent, widths, rule, nil)
	for i, r := range rows {
		if spaced && i > 0 {
			p.Gap()
		}
		p.row(indent, widths, r, p.paint)
	}
}

// row writes one row, on as many lines as its tallest cell needs.
func (p *Page) row(indent int, widths []int, cells []string, paint func(string) string) {
	wrapped := make([][]string, len(widths))
	height := 1
	for i := range widths {
		if i < len(cells) {
			wrapped[i] = Wrap(Clean(cells[i]), widths[i])
		}
		height = max(height, len(wrapped[i]))
	}
	for h := range height {
		var b strings.Builder
		b.WriteString(strings.Repeat(" ", indent))
		for i, w := range widths {
			cell := ""
			if h < len(wrapped[i]) {
				cell = wrapped[i][h]
			}
			pad := strings.Repeat(" ", max(0, w-utf8.RuneCountInString(cell)))
			if paint != nil {
				cell = paint(cell)
			}
			b.WriteString(cell + pad)
			if i < len(widths)-1 {
				b.WriteString(between)
			}
		}
		p.line(b.String())
	}
}

// columnWidths fits the natural widths into the room by taking from the widest
// column, one column at a time, never below the column's longest short word.
func columnWidths(titles []string, rows [][]string, room int) []int {
	widths, least := make([]int, len(titles)), make([]int, len(titles))
	measure := func(i int, cell string) {
		for _, l := range strings.Split(cell, "\n") {
			widths[i] = max(widths[i], utf8.RuneCountInString(l))
		}
		for _, word := range strings.Fields(cell) {
			least[i] = max(least[i], min(utf8.RuneCountInString(word), maxWord))
		}
	}
	for i, t := range titles {
		measure(i, t)
		for _, r := range rows {
			if i < len(r) {
				measure(i, r[i])
			}
		}
	}
	for total(widths) > room {
		widest := -1
		for i, w := range widths {
			if w > max(least[i], minColumn) && (widest < 0 || w > widths[widest]) {
				widest = i
			}
		}
		if widest < 0 {
			break // the words alone are wider than the page: let it run over
		}
		widths[widest]--
	}
	return widths
}

// minColumn is the narrowest a wrapped column gets; words up to maxWord (an id, to be
// copied) are not broken for the sake of another column.
const (
	minColumn = 8
	maxWord   = 40
)

func total(widths []int) int {
	sum := 0
	for _, w := range widths {
		sum += w
	}
	return sum
}
