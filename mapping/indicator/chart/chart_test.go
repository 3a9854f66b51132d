package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/assess/stats"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/mapping/table"
)

func gathered(t *testing.T, n int) *Gathered {
	t.Helper()
	var g Gathered
	book, i := assess.DefaultBook(), 0
	for c := range sample.Cohort(n, 4) {
		merged := c.Merged()
		i++
		g.Add(table.Case{Key: fmt.Sprintf("c%06d", i), Sequence: 1, Report: merged, Results: book.Assess(merged),
			Opaque: func(id report.Identifier) string { return fmt.Sprintf("p%x", id.Value[len(id.Value)-1:]) + "3f19a0" }})
	}
	return &g
}

// TestPictures draws each twice: equal bytes, well-formed XML, a PNG of the
// size asked for. ENBLOC_PICTURES names a folder to keep them in, to be looked at.
func TestPictures(t *testing.T) {
	t.Parallel()
	all, err := gathered(t, 1500).Draw("Invented test data. Sessions of 2026", 5)
	require.NoError(t, err)
	again, err := gathered(t, 1500).Draw("Invented test data. Sessions of 2026", 5)
	require.NoError(t, err)
	require.Len(t, all, 4)
	for i, one := range all {
		svg, err := one.Picture.SVG()
		require.NoError(t, err)
		other, err := again[i].Picture.SVG()
		require.NoError(t, err)
		require.True(t, bytes.Equal(svg, other), one.Name)
		d := xml.NewDecoder(bytes.NewReader(svg))
		for err = error(nil); err == nil; _, err = d.Token() {
		}
		require.ErrorIs(t, err, io.EOF, one.Name)
		raw, err := one.Picture.PNG()
		require.NoError(t, err)
		decoded, err := png.Decode(bytes.NewReader(raw))
		require.NoError(t, err)
		require.InDelta(t, 190/25.4*resolution, decoded.Bounds().Dx(), 2)
		if dir := os.Getenv("ENBLOC_PICTURES"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, one.Name+".png"), raw, 0o600))
			require.NoError(t, os.WriteFile(filepath.Join(dir, one.Name+".svg"), svg, 0o600))
		}
	}
}

func TestTooLittleToDraw(t *testing.T) {
	t.Parallel()
	var g Gathered
	none, err := g.Draw("", 5)
	require.NoError(t, err)
	require.Empty(t, none)
	_, err = Funnel(FunnelOf{Target: 0.9, Units: []Unit{{"a", 1, 1}}, Least: 5})
	require.ErrorIs(t, err, ErrNothing)
	_, err = LearningCurve(CurveOf{Acceptable: 0.2, Unacceptable: 0.1})
	require.Error(t, err)
	require.False(t, errors.Is(err, ErrNothing))
}

// TestLimit holds the exact distribution against the published way, simulation:
// somebody at the unacceptable rate crosses the limit in at most 5% of 20,000
// careers of 100 cases, and would cross a limit of 0.5 less more often.
func TestLimit(t *testing.T) {
	t.Parallel()
	w, err := stats.LCCUSUM(AcceptableFailure, UnacceptableFailure)
	require.NoError(t, err)
	limit := Limit(w, UnacceptableFailure, 100, 0.05)
	rng := rand.New(rand.NewPCG(1, 2))
	share := func(limit float64) float64 {
		crossed := 0
		for range 20_000 {
			sum := 0.0
			for range 100 {
				if sum = w.Add(sum, rng.Float64() >= UnacceptableFailure); sum > limit {
					crossed++
					break
				}
			}
		}
		return float64(crossed) / 20_000
	}
	require.InDelta(t, 0.05, share(limit), 0.012)
	require.Greater(t, share(limit-0.5), 0.06)
	require.InDelta(t, limit, math.Round(limit*100)/100, 1e-9)
}
