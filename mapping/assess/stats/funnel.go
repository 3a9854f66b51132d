package stats

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Funnel holds the control limits of a funnel plot around a target rate, as
// fractions of 1. They are prediction limits for a centre of that size, not
// confidence intervals (BMC Med Res Methodol 2012;12:98).
type Funnel struct{ Lower95, Upper95, Lower998, Upper998 float64 }

var errTarget = errors.New("the target must lie between 0 and 1, and there must be a case")

// FunnelNormal returns target ± z·√(target(1−target)/n) for z 1.96 and 3.09
// (Spiegelhalter, Stat Med 2005;24:1185), clipped to 0..1, which the source
// does not do. For small n the exact limits are preferable.
func FunnelNormal(target float64, n int) (Funnel, error) {
	if n < 1 || target <= 0 || target >= 1 {
		return Funnel{}, errTarget
	}
	se := math.Sqrt(target * (1 - target) / float64(n))
	clip := func(v float64) float64 { return math.Min(1, math.Max(0, v)) }
	return Funnel{
		Lower95: clip(target - 1.96*se), Upper95: clip(target + 1.96*se),
		Lower998: clip(target - Z998*se), Upper998: clip(target + Z998*se),
	}, nil
}

// FunnelExact returns binomial quantiles divided by n at 2.5, 97.5, 0.1 and
// 99.9% (same source, exact alternative).
func FunnelExact(target float64, n int) (Funnel, error) {
	if n < 1 || target <= 0 || target >= 1 {
		return Funnel{}, errTarget
	}
	q := func(p float64) float64 { return float64(binomialQuantile(p, target, n)) / float64(n) }
	return Funnel{Lower95: q(0.025), Upper95: q(0.975), Lower998: q(0.001), Upper998: q(0.999)}, nil
}

// binomialQuantile is the smallest count whose cumulative probability reaches p.
func binomialQuantile(p, rate float64, n int) int {
	b := distuv.Binomial{N: float64(n), P: rate}
	low, high := 0, n
	for low < high {
		mid := (low + high) / 2
		if b.CDF(float64(mid)) >= p {
			high = mid
		} else {
			low = mid + 1
		}
	}
	return low
}
