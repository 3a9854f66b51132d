package chart

import (
	"errors"
	"fmt"
	"slices"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"enbloc/mapping/assess/stats"
)

// Unit is one point of a funnel plot: an operator, a place, a year.
type Unit struct {
	Label     string
	Events, N int
}

// FunnelOf says what a funnel plot shows.
type FunnelOf struct {
	Title string // "R0 resection by operator"
	Rate  string // label of the axis: "R0 rate"
	Cases string // what is counted: "dissections with evaluable margins"
	// Target is the rate in the middle, between 0 and 1, TargetOf what it is of.
	Target   float64
	TargetOf string
	Units    []Unit
	// Least is the fewest cases of a unit that is drawn.
	Least int
	// Period is what the data are of.
	Period string
}

// ErrNothing says that there is too little to draw.
var ErrNothing = errors.New("there are too few cases for this picture")

// Funnel draws the rate of each unit against its number of cases, with exact
// binomial limits of 95% and 99.8% around the target (Spiegelhalter, Stat Med
// 2005;24:1185). The limits are steps, as counts are whole.
func Funnel(f FunnelOf) (*Picture, error) {
	units := slices.DeleteFunc(slices.Clone(f.Units), func(u Unit) bool { return u.N < f.Least || u.N < 1 })
	if len(units) == 0 || f.Target <= 0 || f.Target >= 1 {
		return nil, ErrNothing
	}
	most, low, high := 0, f.Target, f.Target
	for _, u := range units {
		most = max(most, u.N)
		rate := float64(u.Events) / float64(u.N)
		low, high = min(low, rate), max(high, rate)
	}
	most += most/8 + 2
	p := newPicture(f.Title, 190, 130)
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "Number of "+f.Cases, f.Rate
	p.plot.Y.Tick.Marker = percentTicks{}
	limits, err := funnelLines(f.Target, most)
	if err != nil {
		return nil, err
	}
	for i, look := range []int{5, 1} { // 99.8% in long dashes, 95% in short ones
		for side := range 2 {
			line := limits[2*i+side]
			line.Color, line.Dashes, line.Width = series[look].colour, series[look].dashes, vg.Points(1.2)
			p.plot.Add(line)
		}
	}
	middle, err := plotter.NewLine(plotter.XYs{{X: 0, Y: f.Target}, {X: float64(most), Y: f.Target}})
	if err != nil {
		return nil, fmt.Errorf("drawing target: %w", err)
	}
	middle.Color, middle.Width = stone, vg.Points(1.2)
	p.plot.Add(middle)
	outside := p.addUnits(units, f.Target)
	p.explain("target "+trimmed(100*f.Target)+"%", middle)
	p.explain("95% limits", limits[2])
	p.explain("99.8% limits", limits[0])
	// The funnel's mouth would press the points flat: the axis keeps to where
	// points, and the limits of a unit of ten, lie.
	mouth, err := stats.FunnelExact(f.Target, min(10, most))
	if err != nil {
		return nil, err
	}
	p.plot.X.Min, p.plot.X.Max = 0, float64(most)
	p.plot.Y.Min, p.plot.Y.Max = max(0, min(low, mouth.Lower95)-0.02), min(1, max(high, mouth.Upper95)+0.02)
	p.say("%s. Target: %s. Limits: exact binomial quantiles around the target for a unit of that size; they are no confidence intervals (Spiegelhalter, Stat Med 2005;24:1185).", f.Period, f.TargetOf)
	p.say("%d of %d points drawn; those of fewer than %d cases are left out. %d beyond the 99.8%% limits. Not adjusted for case mix: a point outside asks a question, it answers none.",
		len(units), len(f.Units), f.Least, outside)
	return p, nil
}

// funnelLines are the limits: lower and upper of 99.8%, lower and upper of 95%.
func funnelLines(target float64, most int) ([4]*plotter.Line, error) {
	var points [4]plotter.XYs
	for n := 1; n <= most; n++ {
		l, err := stats.FunnelExact(target, n)
		if err != nil {
			return [4]*plotter.Line{}, err
		}
		for i, y := range []float64{l.Lower998, l.Upper998, l.Lower95, l.Upper95} {
			points[i] = append(points[i], plotter.XY{X: float64(n), Y: y})
		}
	}
	var out [4]*plotter.Line
	for i := range points {
		line, err := plotter.NewLine(points[i])
		if err != nil {
			return out, fmt.Errorf("drawing limits: %w", err)
		}
		out[i] = line
	}
	return out, nil
}

// addUnits draws the points; those beyond the outer limits have another shape,
// and their label. It returns how many those are.
func (p *Picture) addUnits(units []Unit, target float64) int {
	var inside, outside plotter.XYs
	var names []string
	for _, u := range units {
		at := plotter.XY{X: float64(u.N), Y: float64(u.Events) / float64(u.N)}
		l, err := stats.FunnelExact(target, u.N)
		if err == nil && (at.Y < l.Lower998-1e-12 || at.Y > l.Upper998+1e-12) {
			outside = append(outside, at)
			names = append(names, u.Label)
			continue
		}
		inside = append(inside, at)
	}
	for i, points := range []plotter.XYs{inside, outside} {
		if len(points) == 0 {
			continue
		}
		s, err := plotter.NewScatter(points)
		if err != nil {
			continue // finite numbers always draw
		}
		s.GlyphStyle = draw.GlyphStyle{Color: indigo, Radius: vg.Points(3.5), Shape: draw.CircleGlyph{}}
		text := "within limits"
		if i == 1 {
			s.GlyphStyle = draw.GlyphStyle{Color: rust, Radius: vg.Points(5), Shape: draw.PyramidGlyph{}}
			text = "beyond 99.8%"
			p.label(points, names)
		}
		p.plot.Add(s)
		p.explain(text, s)
	}
	return len(outside)
}

func (p *Picture) label(points plotter.XYs, names []string) {
	l, err := plotter.NewLabels(plotter.XYLabels{XYs: points, Labels: names})
	if err != nil {
		return
	}
	for i := range l.TextStyle {
		l.TextStyle[i].Font.Size, l.TextStyle[i].Font.Variant, l.TextStyle[i].Color = 9, "Sans", ink
	}
	l.Offset = vg.Point{X: 7, Y: -3}
	p.plot.Add(l)
}
