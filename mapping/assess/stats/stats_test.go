package stats

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// Newcombe, Stat Med 1998;17:857, Table I, method 3. The formula and the first
// two pairs were read second-hand; the limits were recomputed exactly.
func TestWilson(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		k, n         int
		lower, upper float64
	}{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}, {23, 60, 0.2709, 0.5098},
	} {
		got, err := Wilson(c.k, c.n, Z95)
		require.NoError(t, err)
		require.InDelta(t, c.lower, got.Lower, 5e-5, "%d/%d", c.k, c.n)
		require.InDelta(t, c.upper, got.Upper, 5e-5, "%d/%d", c.k, c.n)
		require.InDelta(t, float64(c.k)/float64(c.n), got.Rate, 1e-15)
	}
	all, err := Wilson(20, 20, Z95)
	require.NoError(t, err)
	require.Equal(t, 1.0, all.Upper)
	require.InDelta(t, 1-0.1611, all.Lower, 5e-5)
	require.InDelta(t, distuv.UnitNormal.Quantile(0.975), Z95, 1e-6)
}

// TestWilsonSolvesTheScore holds the limits against the equation they solve:
// |p − limit| = z·√(limit(1−limit)/n).
func TestWilsonSolvesTheScore(t *testing.T) {
	t.Parallel()
	for n := 1; n <= 60; n++ {
		for k := 0; k <= n; k++ {
			i, err := Wilson(k, n, Z95)
			require.NoError(t, err)
			require.True(t, 0 <= i.Lower && i.Lower <= i.Rate && i.Rate <= i.Upper && i.Upper <= 1, "%d/%d", k, n)
			for _, limit := range []float64{i.Lower, i.Upper} {
				require.InDelta(t, math.Abs(i.Rate-limit), Z95*math.Sqrt(limit*(1-limit)/float64(n)), 1e-9, "%d/%d", k, n)
			}
		}
	}
}

// Hatta, Gut 2021;70:476: the published intervals of the BEST-J groups are
// exact ones.
func TestClopperPearsonGivesThePublishedIntervals(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		k, n         int
		lower, upper float64
	}{
		{175, 6267, 2.4, 3.2}, {65, 1059, 4.8, 7.8}, {87, 760, 9.3, 13.9}, {60, 202, 23.5, 36.5},
	} {
		got, err := ClopperPearson(c.k, c.n, 0.95)
		require.NoError(t, err)
		require.InDelta(t, c.lower, 100*got.Lower, 0.05, "%d/%d", c.k, c.n)
		require.InDelta(t, c.upper, 100*got.Upper, 0.05, "%d/%d", c.k, c.n)
	}
}

// TestClopperPearsonAgainstBinomialTails holds the limits against binomial
// tails summed term by term with another part of gonum.
func TestClopperPearsonAgainstBinomialTails(t *testing.T) {
	t.Parallel()
	atLeast := func(k, n int, p float64) float64 {
		sum := 0.0
		for i := k; i <= n; i++ {
			sum += math.Exp(combin.LogGeneralizedBinomial(float64(n), float64(i)) + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
		}
		return sum
	}
	for _, c := range [][2]int{{1, 10}, {5, 10}, {9, 10}, {3, 40}, {39, 40}} {
		k, n := c[0], c[1]
		i, err := ClopperPearson(k, n, 0.95)
		require.NoError(t, err)
		require.InDelta(t, 0.025, atLeast(k, n, i.Lower), 1e-7)
		require.InDelta(t, 0.025, 1-atLeast(k+1, n, i.Upper), 1e-7)
	}
	none, err := ClopperPearson(0, 10, 0.95)
	require.NoError(t, err)
	require.Zero(t, none.Lower)
	require.InDelta(t, 1-math.Pow(0.025, 0.1), none.Upper, 1e-9)
	all, err := ClopperPearson(10, 10, 0.95)
	require.NoError(t, err)
	require.Equal(t, 1.0, all.Upper)
}

// Spiegelhalter, Stat Med 2005;24:1185; figures of target 0.9 and 50 cases.
func TestFunnel(t *testing.T) {
	t.Parallel()
	got, err := FunnelNormal(0.9, 50)
	require.NoError(t, err)
	require.InDelta(t, 0.8168, got.Lower95, 5e-5)
	require.InDelta(t, 0.9832, got.Upper95, 5e-5)
	require.InDelta(t, 0.7689, got.Lower998, 5e-5)
	require.Equal(t, 1.0, got.Upper998, "clipped")
	low, err := FunnelNormal(0.02, 20)
	require.NoError(t, err)
	require.Zero(t, low.Lower95, "clipped")
	require.Zero(t, low.Lower998, "clipped")
}

// TestFunnelExact holds the exact limits against the definition of a quantile.
func TestFunnelExact(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 7, 50, 400} {
		for _, target := range []float64{0.02, 0.5, 0.9} {
			got, err := FunnelExact(target, n)
			require.NoError(t, err)
			b := distuv.Binomial{N: float64(n), P: target}
			for p, limit := range map[float64]float64{0.025: got.Lower95, 0.975: got.Upper95, 0.001: got.Lower998, 0.999: got.Upper998} {
				k := math.Round(limit * float64(n))
				require.GreaterOrEqual(t, b.CDF(k), p)
				if k > 0 {
					require.Less(t, b.CDF(k-1), p)
				}
			}
		}
	}
}

func TestImpossibleCounts(t *testing.T) {
	t.Parallel()
	for _, c := range [][2]int{{0, 0}, {-1, 5}, {6, 5}} {
		_, err := Wilson(c[0], c[1], Z95)
		require.Error(t, err)
		_, err = ClopperPearson(c[0], c[1], 0.95)
		require.Error(t, err)
	}
	for _, c := range []struct {
		target float64
		n      int
	}{{0, 10}, {1, 10}, {0.5, 0}} {
		_, err := FunnelNormal(c.target, c.n)
		require.Error(t, err)
		_, err = FunnelExact(c.target, c.n)
		require.Error(t, err)
	}
	for _, c := range [][2]float64{{0, 0.1}, {0.1, 1}, {0.2, 0.2}, {0.3, 0.2}} {
		_, err := LCCUSUM(c[0], c[1])
		require.Error(t, err)
	}
	for _, c := range [][4]int{{0, 0, 0, 0}, {-1, 1, 1, 1}, {1, -1, 1, 1}, {1, 1, -1, 1}, {1, 1, 1, -1}, {0, 1, 0, 1}, {1, 0, 1, 0}, {0, 0, 1, 1}, {1, 1, 0, 0}} {
		_, err := TwoByTwo(c[0], c[1], c[2], c[3])
		require.Error(t, err, c)
	}
}

// TestLCCUSUM checks the signs, which sources swap: success raises the sum and
// failure lowers it, by the logarithms of the likelihood ratios (bio-protocol
// 9325945), and the sum never falls below 0.
func TestLCCUSUM(t *testing.T) {
	t.Parallel()
	w, err := LCCUSUM(0.10, 0.25)
	require.NoError(t, err)
	require.InDelta(t, math.Log(0.9/0.75), w.Success, 1e-12)
	require.InDelta(t, math.Log(0.1/0.25), w.Failure, 1e-12)
	require.InDelta(t, w.Success, w.Add(0, true), 1e-12)
	require.Zero(t, w.Add(0.1, false))
	require.InDelta(t, 2+w.Failure, w.Add(2, false), 1e-12)
	bernoulli := func(p float64) distuv.Bernoulli { return distuv.Bernoulli{P: p} }
	require.InDelta(t, bernoulli(0.10).LogProb(0)-bernoulli(0.25).LogProb(0), w.Success, 1e-12)
	require.InDelta(t, bernoulli(0.10).LogProb(1)-bernoulli(0.25).LogProb(1), w.Failure, 1e-12)
}

// Nagahama, Gastric Cancer 2017;20:304: 863 lesions; the rates need 9 false
// negatives and 17 false positives.
func TestTwoByTwo(t *testing.T) {
	t.Parallel()
	got, err := TwoByTwo(104, 17, 9, 733)
	require.NoError(t, err)
	require.InDelta(t, 92.0, got.Sensitivity, 0.05)
	require.InDelta(t, 97.7, got.Specificity, 0.05)
	require.InDelta(t, 85.95, got.PPV, 0.005)
	require.InDelta(t, 98.8, got.NPV, 0.05)
	require.InDelta(t, 96.99, got.Overall, 0.005)
}

// TestSmallestCounts: one case is enough, and a cell may be empty.
func TestSmallestCounts(t *testing.T) {
	t.Parallel()
	one, err := ClopperPearson(1, 1, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 0.025, one.Lower, 1e-9, "the quantile of a single success")
	_, err = FunnelNormal(0.9, 1)
	require.NoError(t, err)
	for _, c := range [][4]int{{0, 1, 1, 1}, {1, 0, 1, 1}, {1, 1, 0, 1}, {1, 1, 1, 0}} {
		_, err := TwoByTwo(c[0], c[1], c[2], c[3])
		require.NoError(t, err, c)
	}
}

func TestAreaAndSpeed(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 942.478, EllipseArea(40, 30), 5e-4)
	require.InDelta(t, math.Pi*100, EllipseArea(20, 20), 1e-9, "a circle of 20 mm")
	require.InDelta(t, 9.0, SqMmPerMinToSqCmPerHour(15), 1e-12)
}

// JGH Open 2020 and ESGE curriculum 2019: all limits inclusive.
func TestMarks(t *testing.T) {
	t.Parallel()
	require.True(t, Expert(9, 5, 90))
	require.False(t, Expert(8.99, 5, 90))
	require.False(t, Expert(9, 5.01, 90))
	require.False(t, Expert(9, 5, 89.99))
	require.True(t, ReadyForHuman(20, 8, 0))
	require.False(t, ReadyForHuman(19, 8, 0))
	require.False(t, ReadyForHuman(20, 7, 0))
	require.False(t, ReadyForHuman(20, 8, 1))
}
