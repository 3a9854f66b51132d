package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"enbloc/mapping/assess/stats"
)

// Learner is one person's cases in their order.
type Learner struct {
	Label string
	// Success of each case; cases that are not evaluable are not among them.
	Success []bool
}

// CurveOf says what a learning curve shows.
type CurveOf struct {
	Title   string
	Failure string // what a failure is: "not en bloc"
	// Acceptable and Unacceptable are failure rates between 0 and 1.
	Acceptable, Unacceptable float64
	Learners                 []Learner
	Period                   string
}

const (
	// falseAlarm is how often somebody at the unacceptable rate may be called
	// competent within horizon cases.
	falseAlarm = 0.05
	horizon    = 100
)

// LearningCurve draws an LC-CUSUM for each learner, at most six: it starts from
// inadequate performance, rises with success and falls with failure
// (bio-protocol 9325945), and shows competence above the limit.
func LearningCurve(c CurveOf) (*Picture, error) {
	weights, err := stats.LCCUSUM(c.Acceptable, c.Unacceptable)
	if err != nil {
		return nil, err
	}
	limit := Limit(weights, c.Unacceptable, horizon, falseAlarm)
	p := newPicture(c.Title, 190, 130)
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "Case of the operator, in order", "Cumulative sum (no unit)"
	longest := 0
	for i, l := range c.Learners {
		if i == len(series) {
			break
		}
		if len(l.Success) == 0 {
			continue
		}
		longest = max(longest, len(l.Success))
		if err := p.addLearner(i, l, weights, limit); err != nil {
			return nil, err
		}
	}
	if longest == 0 {
		return nil, ErrNothing
	}
	line, err := plotter.NewLine(plotter.XYs{{X: 0, Y: limit}, {X: float64(longest), Y: limit}})
	if err != nil {
		return nil, fmt.Errorf("drawing limit: %w", err)
	}
	line.Color, line.Width = stone, vg.Points(3) // no operator has a whole line of this colour and width
	p.plot.Add(line)
	p.explain(fmt.Sprintf("limit %.2f", limit), line)
	p.plot.X.Min, p.plot.X.Max, p.plot.Y.Min = 0, float64(longest), 0
	p.plot.Y.Max = max(p.plot.Y.Max, limit) * 1.05
	p.say("%s. Failure: %s. Acceptable failure rate %s%%, unacceptable %s%%. Above the limit, competence is shown: the limit lets somebody at the unacceptable rate through within %d cases with a probability of at most %s%% (exact distribution). The mark shows the first case above it.",
		c.Period, c.Failure, trimmed(100*c.Acceptable), trimmed(100*c.Unacceptable), horizon, trimmed(100*falseAlarm))
	p.say("LC-CUSUM: bio-protocol 9325945. Not adjusted for site, size and fibrosis; the two rates are a choice of the unit. The curve describes cases, it certifies nobody.")
	return p, nil
}

func (p *Picture) addLearner(i int, l Learner, w stats.Weights, limit float64) error {
	points := plotter.XYs{{X: 0, Y: 0}}
	sum, reached := 0.0, -1
	for n, success := range l.Success {
		sum = w.Add(sum, success)
		points = append(points, plotter.XY{X: float64(n + 1), Y: sum})
		if reached < 0 && sum > limit {
			reached = n + 1
		}
	}
	line, err := plotter.NewLine(points)
	if err != nil {
		return fmt.Errorf("drawing curve: %w", err)
	}
	look := series[i]
	line.Color, line.Dashes, line.Width = look.colour, look.dashes, vg.Points(1.5)
	p.plot.Add(line)
	if reached < 0 {
		p.explain(l.Label+": not reached", line)
		return nil
	}
	mark, err := plotter.NewScatter(plotter.XYs{points[reached]})
	if err != nil {
		return fmt.Errorf("drawing mark: %w", err)
	}
	mark.GlyphStyle = draw.GlyphStyle{Color: look.colour, Radius: vg.Points(4.5), Shape: look.shape}
	p.plot.Add(mark)
	p.explain(fmt.Sprintf("%s: case %d", l.Label, reached), line, mark)
	return nil
}

// grid is the width of the classes in which Limit keeps the sum.
const grid = 0.005

// Limit is the smallest limit, to the hundredth, that somebody with the given
// failure rate exceeds within so many cases with at most the given probability.
// The sum's distribution is followed exactly but for its rounding to 0.005; the
// published way is simulation, which needs chance.
func Limit(w stats.Weights, failureRate float64, cases int, probability float64) float64 {
	low, high := 0, 2000 // hundredths
	for low < high {
		middle := (low + high) / 2
		if crossing(w, failureRate, cases, float64(middle)/100) <= probability {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return float64(low) / 100
}

// crossing is the probability that the sum exceeds the limit within the cases.
func crossing(w stats.Weights, failureRate float64, cases int, limit float64) float64 {
	states := int(math.Floor(limit/grid+1e-9)) + 1
	up, down := int(math.Round(w.Success/grid)), int(math.Round(-w.Failure/grid))
	now := make([]float64, states)
	now[0] = 1
	crossed := 0.0
	for range cases {
		next := make([]float64, states)
		for s, p := range now {
			if p == 0 {
				continue
			}
			next[max(0, s-down)] += p * failureRate
			if s+up >= states {
				crossed += p * (1 - failureRate)
			} else {
				next[s+up] += p * (1 - failureRate)
			}
		}
		now = next
	}
	return crossed
}
