package chart

import (
	"fmt"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Month is the speeds of one month, in cm²/h.
type Month struct {
	Label  string // "2026-03"
	Speeds []float64
}

// Speed draws median and quartiles of each month, the mark of 9 cm²/h beside
// them (JGH Open 2020, PMC7411630). Months with fewer than least speeds are left
// out.
func Speed(title, period string, months []Month, least int) (*Picture, error) {
	p := newPicture(title, 190, 130)
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "Month (number of dissections below)", "Speed, cm²/h"
	var middles plotter.XYs
	var spread plotter.YErrors
	var ticks []plot.Tick
	left := 0
	for i, m := range months {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: m.Label + "\n" + few(len(m.Speeds), least)})
		if len(m.Speeds) < least {
			left++
			continue
		}
		q := quartiles(m.Speeds)
		middles = append(middles, plotter.XY{X: float64(i), Y: q[1]})
		spread = append(spread, struct{ Low, High float64 }{q[1] - q[0], q[2] - q[1]})
	}
	if len(middles) == 0 {
		return nil, ErrNothing
	}
	p.plot.X.Tick.Marker = plot.ConstantTicks(thinned(ticks))
	if err := p.addMonths(middles, spread, len(months)); err != nil {
		return nil, err
	}
	p.say("%s. Median with quartiles. Speed: area of the pinned specimen as an ellipse, divided by the time from the first cut to the end of the resection. The mark of 9 cm²/h is one of three expert marks (JGH Open 2020, PMC7411630).", period)
	p.say("%d months with fewer than %d dissections left out. Speed depends on site, size and fibrosis: compare like with like.", left, least)
	return p, nil
}

func (p *Picture) addMonths(middles plotter.XYs, spread plotter.YErrors, months int) error {
	mark, err := plotter.NewLine(plotter.XYs{{X: -0.5, Y: 9}, {X: float64(months) - 0.5, Y: 9}})
	if err != nil {
		return fmt.Errorf("drawing mark: %w", err)
	}
	mark.Color, mark.Dashes, mark.Width = rust, []vg.Length{6, 3}, vg.Points(1.3)
	line, points, err := plotter.NewLinePoints(middles)
	if err != nil {
		return fmt.Errorf("drawing medians: %w", err)
	}
	line.Color, line.Width = indigo, vg.Points(1.2)
	points.GlyphStyle = draw.GlyphStyle{Color: indigo, Radius: vg.Points(3.5), Shape: draw.CircleGlyph{}}
	bars, err := plotter.NewYErrorBars(struct {
		plotter.XYs
		plotter.YErrors
	}{middles, spread})
	if err != nil {
		return fmt.Errorf("drawing quartiles: %w", err)
	}
	bars.Color, bars.Width, bars.CapWidth = indigo, vg.Points(1), vg.Points(6)
	p.plot.Add(mark, bars, line, points)
	p.explain("median, quartiles", line, points)
	p.explain("9 cm²/h", mark)
	p.plot.X.Min, p.plot.X.Max, p.plot.Y.Min = -0.5, float64(months)-0.5, 0
	p.plot.Y.Max = max(p.plot.Y.Max, 9) * 1.08
	return nil
}

// quartiles interpolates linearly (Hyndman and Fan, Am Stat 1996;50:361,
// definition 7).
func quartiles(values []float64) [3]float64 {
	sorted := slices.Sorted(slices.Values(values))
	var out [3]float64
	for i, share := range []float64{0.25, 0.5, 0.75} {
		at := share * float64(len(sorted)-1)
		low := int(at)
		high := min(low+1, len(sorted)-1)
		out[i] = sorted[low] + (at-float64(low))*(sorted[high]-sorted[low])
	}
	return out
}

// few hides a small count.
func few(n, least int) string {
	if n > 0 && n < least {
		return fmt.Sprintf("<%d", least)
	}
	return fmt.Sprint(n)
}

// thinned keeps as many labels as can stand side by side.
func thinned(ticks []plot.Tick) []plot.Tick {
	const room = 7
	step := (len(ticks) + room - 1) / room
	for i := range ticks {
		if step > 1 && i%step != 0 {
			ticks[i].Label = ""
		}
	}
	return ticks
}
