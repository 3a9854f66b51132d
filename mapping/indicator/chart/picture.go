package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// The palette: dark to light in print as on screen, and far apart for the
// common kinds of colour blindness. No meaning hangs on a colour alone.
var (
	ink    = color.NRGBA{R: 0x1f, G: 0x2a, B: 0x37, A: 0xff}
	indigo = color.NRGBA{R: 0x24, G: 0x3f, B: 0x73, A: 0xff}
	rust   = color.NRGBA{R: 0xb4, G: 0x51, B: 0x1e, A: 0xff}
	teal   = color.NRGBA{R: 0x3a, G: 0x8f, B: 0x8c, A: 0xff}
	plum   = color.NRGBA{R: 0x7b, G: 0x4b, B: 0x8a, A: 0xff}
	stone  = color.NRGBA{R: 0x8a, G: 0x8f, B: 0x98, A: 0xff}
	paper  = color.NRGBA{R: 0xdd, G: 0xe0, B: 0xe4, A: 0xff}
)

// series are the looks of lines that are told apart: colour, dashes and shape
// all differ.
var series = []struct {
	colour color.Color
	dashes []vg.Length
	shape  draw.GlyphDrawer
}{
	{indigo, nil, draw.CircleGlyph{}},
	{rust, []vg.Length{6, 3}, draw.SquareGlyph{}},
	{teal, []vg.Length{2, 2}, draw.PyramidGlyph{}},
	{plum, []vg.Length{8, 3, 2, 3}, draw.CrossGlyph{}},
	{stone, []vg.Length{1, 3}, draw.RingGlyph{}},
	{ink, []vg.Length{12, 4}, draw.TriangleGlyph{}},
}

// Picture is one drawing with the lines of text below it.
type Picture struct {
	plot          *plot.Plot
	width, height vg.Length
	caption       []string
	// legend is drawn to the right of the data, where it covers none.
	legend []entry
}

type entry struct {
	text   string
	thumbs []plot.Thumbnailer
}

const (
	millimetre   = vg.Millimeter
	captionSize  = 8.5
	captionLine  = 11.5
	margin       = 10
	legendWidth  = 150
	lettersPerMM = 0.66 // of a line of the caption, at its size
	resolution   = 200  // dots per inch of a PNG
)

// newPicture starts a drawing of the given size in millimetres.
func newPicture(title string, width, height float64) *Picture {
	p := plot.New()
	p.Title.Text = title
	p.Title.TextStyle.Font.Size, p.Title.TextStyle.Color = 13, ink
	p.Title.Padding = 8
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font.Size, a.Label.TextStyle.Color, a.Label.Padding = 10.5, ink, 5
		a.Tick.Label.Font.Size, a.Tick.Label.Color = 9.5, ink
		a.Color, a.Tick.Color = ink, ink
		a.Padding = 4
	}
	all := []*font.Font{&p.Title.TextStyle.Font, &p.X.Label.TextStyle.Font, &p.Y.Label.TextStyle.Font, &p.X.Tick.Label.Font, &p.Y.Tick.Label.Font}
	for _, f := range all {
		f.Variant = "Sans"
	}
	return &Picture{plot: p, width: vg.Length(width) * millimetre, height: vg.Length(height) * millimetre}
}

// say adds a sentence to the caption; long ones are wrapped.
func (p *Picture) say(format string, args ...any) {
	width := int(float64(p.width/millimetre) * lettersPerMM)
	line := ""
	for word := range strings.FieldsSeq(fmt.Sprintf(format, args...)) {
		if line != "" && len(line)+1+len(word) > width {
			p.caption = append(p.caption, line)
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	p.caption = append(p.caption, line)
}

func (p *Picture) explain(text string, thumbs ...plot.Thumbnailer) {
	p.legend = append(p.legend, entry{text, thumbs})
}

// draw lays out data, legend and caption side by side and below.
func (p *Picture) draw(c draw.Canvas) {
	c.FillPolygon(color.White, []vg.Point{{X: c.Min.X, Y: c.Min.Y}, {X: c.Max.X, Y: c.Min.Y}, {X: c.Max.X, Y: c.Max.Y}, {X: c.Min.X, Y: c.Max.Y}})
	below := vg.Length(len(p.caption))*captionLine + margin
	right := vg.Length(0)
	if len(p.legend) > 0 {
		right = legendWidth
	}
	p.plot.Draw(draw.Crop(c, margin, -margin-right, below+margin, -margin))
	style := p.plot.X.Tick.Label
	style.Font.Size, style.XAlign, style.YAlign = captionSize, draw.XLeft, draw.YBottom
	for i, line := range p.caption {
		c.FillText(style, vg.Point{X: c.Min.X + margin + 4, Y: c.Min.Y + below - vg.Length(i+1)*captionLine}, line)
	}
	if right == 0 {
		return
	}
	l := plot.NewLegend()
	l.TextStyle.Font, l.TextStyle.Color = p.plot.X.Tick.Label.Font, ink
	l.TextStyle.Font.Size, l.ThumbnailWidth, l.Padding, l.Left, l.Top = 9, 24, 4, true, true
	for _, e := range p.legend {
		l.Add(e.text, e.thumbs...)
	}
	l.Draw(draw.Crop(c, c.Max.X-c.Min.X-right-margin/2, -margin, below, -34))
}

// SVG is the picture as a vector drawing.
func (p *Picture) SVG() ([]byte, error) {
	c := vgsvg.New(p.width, p.height)
	p.draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("drawing picture: %w", err)
	}
	return b.Bytes(), nil
}

// PNG is the picture in 200 dots per inch.
func (p *Picture) PNG() ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(p.width, p.height), vgimg.UseDPI(resolution))
	p.draw(draw.New(c))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("drawing picture: %w", err)
	}
	return b.Bytes(), nil
}

// percentTicks labels fractions of 1 in percent.
type percentTicks struct{}

// Ticks chooses round percentages.
func (percentTicks) Ticks(low, high float64) []plot.Tick {
	step := 0.1
	for _, s := range []float64{0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2} {
		if step = s; (high-low)/s <= 8 {
			break
		}
	}
	var out []plot.Tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: trimmed(100*k*step) + "%"})
	}
	return out
}

func trimmed(f float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", f), ".0")
}
