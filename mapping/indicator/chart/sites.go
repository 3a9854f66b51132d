package chart

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Cell is the number of lesions of one site and Paris type.
type Cell struct {
	Site, Paris string
	Count       int
}

// SiteMap draws how many lesions of each Paris type were resected at each site:
// circles whose area is the count, and the count itself. Sites and types come in
// the order given. Counts below least are an open ring.
func SiteMap(title, period string, sites, types []string, cells []Cell, least int) (*Picture, error) {
	most := 0
	for _, c := range cells {
		most = max(most, c.Count)
	}
	if most == 0 || len(sites) == 0 || len(types) == 0 {
		return nil, ErrNothing
	}
	p := newPicture(title, 190, max(90, 42+float64(len(sites))*7.8))
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "Dominant Paris type", ""
	row, column := places(sites, true), places(types, false)
	p.plot.Y.Tick.Marker, p.plot.X.Tick.Marker = plot.ConstantTicks(row.ticks), plot.ConstantTicks(column.ticks)
	for _, c := range cells {
		if c.Count == 0 {
			continue
		}
		at := plotter.XYs{{X: column.at[c.Paris], Y: row.at[c.Site]}}
		s, err := plotter.NewScatter(at)
		if err != nil {
			return nil, fmt.Errorf("drawing count: %w", err)
		}
		radius := max(1.2, 12*math.Sqrt(float64(c.Count)/float64(most)))
		s.GlyphStyle = draw.GlyphStyle{Color: teal, Radius: vg.Points(radius), Shape: draw.CircleGlyph{}}
		if c.Count < least {
			s.GlyphStyle = draw.GlyphStyle{Color: stone, Radius: vg.Points(3), Shape: draw.RingGlyph{}}
		}
		p.plot.Add(s)
		p.count(at, few(c.Count, least), radius)
	}
	p.plot.X.Min, p.plot.X.Max = -0.5, float64(len(types))-0.3
	p.plot.Y.Min, p.plot.Y.Max = -0.6, float64(len(sites))-0.4
	p.say("%s. Lesions resected, by site and dominant type of the Paris classification (Gastrointest Endosc 2003;58(6 Suppl):S3). The area of a circle is the count beside it; counts below %d are an open ring.", period, least)
	return p, nil
}

func (p *Picture) count(at plotter.XYs, text string, radius float64) {
	l, err := plotter.NewLabels(plotter.XYLabels{XYs: at, Labels: []string{text}})
	if err != nil {
		return
	}
	l.TextStyle[0].Font.Size, l.TextStyle[0].Font.Variant, l.TextStyle[0].Color, l.TextStyle[0].YAlign = 8.5, "Sans", ink, draw.YCenter
	l.Offset = vg.Point{X: vg.Points(radius + 2.5)}
	p.plot.Add(l)
}

type axisPlaces struct {
	at    map[string]float64
	ticks []plot.Tick
}

// places gives each name its place, the first on top where it is an upright
// axis.
func places(names []string, upright bool) axisPlaces {
	out := axisPlaces{at: map[string]float64{}}
	for i, n := range names {
		at := float64(i)
		if upright {
			at = float64(len(names) - 1 - i)
		}
		out.at[n] = at
		label := n // Paris types keep their hyphen
		if upright {
			label = siteLabel(n)
		}
		out.ticks = append(out.ticks, plot.Tick{Value: at, Label: label})
	}
	return out
}

// siteLabel is a site in words.
func siteLabel(site string) string {
	switch words := strings.ReplaceAll(site, "-", " "); site {
	case "second-part", "third-part", "fourth-part":
		return words + " of duodenum"
	case "gastro-oesophageal-junction":
		return "gastro-oesophageal junction"
	default:
		return words
	}
}
