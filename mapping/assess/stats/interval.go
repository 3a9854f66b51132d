package stats

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Z95 and Z998 are the two-sided normal quantiles of 95% and of 99.8%, the
// latter as funnel plots print it.
const (
	Z95  = 1.959964
	Z998 = 3.09
)

var errCounts = errors.New("events must be from 0 to the number of cases, and there must be a case")

// Interval is a rate with its limits, as fractions of 1.
type Interval struct{ Rate, Lower, Upper float64 }

// Wilson returns the score interval of k events in n cases without continuity
// correction, z being the normal quantile (Newcombe, Stat Med 1998;17:857,
// method 3). Unlike the simple normal interval it never leaves 0 to 1.
func Wilson(k, n int, z float64) (Interval, error) {
	if n < 1 || k < 0 || k > n {
		return Interval{}, errCounts
	}
	p, m, z2 := float64(k)/float64(n), float64(n), z*z
	centre := (p + z2/(2*m)) / (1 + z2/m)
	half := z * math.Sqrt(p*(1-p)/m+z2/(4*m*m)) / (1 + z2/m)
	out := Interval{Rate: p, Lower: centre - half, Upper: centre + half}
	// At the ends the limit is exact by algebra, not by floating point.
	if k == 0 {
		out.Lower = 0
	}
	if k == n {
		out.Upper = 1
	}
	return out, nil
}

// ClopperPearson returns the exact interval of k events in n cases at the
// given level (0.95), from quantiles of the beta distribution (Clopper and
// Pearson, Biometrika 1934;26:404). Many published clinical intervals are of
// this kind, not Wilson's.
func ClopperPearson(k, n int, level float64) (Interval, error) {
	if n < 1 || k < 0 || k > n {
		return Interval{}, errCounts
	}
	tail := (1 - level) / 2
	out := Interval{Rate: float64(k) / float64(n), Lower: 0, Upper: 1}
	if k > 0 {
		out.Lower = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		out.Upper = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
	}
	return out, nil
}
