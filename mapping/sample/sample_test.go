package sample_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// The same seed gives the same bytes; another one gives another case.
func TestSameSeedSameCase(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for seed := range uint64(200) {
		first, second := encode(t, sample.Make(seed)), encode(t, sample.Make(seed))
		require.Equal(t, first, second)
		require.False(t, seen[first])
		seen[first] = true
	}
	require.Equal(t, encode(t, sample.Cover(20)), encode(t, sample.Cover(20)))
}

// A stream makes no more than it is asked for.
func TestCohortStopsWhenAsked(t *testing.T) {
	t.Parallel()
	seen := 0
	for range sample.Cohort(1_000_000_000, 1) {
		if seen++; seen == 3 {
			break
		}
	}
	require.Equal(t, 3, seen)
}

func encode(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	return string(raw)
}

// tally counts what a cohort says about its dissections, each rate over those
// in which it is known.
type tally struct {
	dissections, pieces, onePiece, margins, clear float64
	perforations, laterBleedings                  float64
	sizes                                         []float64 // logarithms
	organs                                        map[report.Organ]float64
}

func count(t *testing.T, n int) tally {
	t.Helper()
	sum := tally{organs: map[report.Organ]float64{}}
	for c := range sample.Cohort(n, 7) {
		merged := c.Merged()
		dissected := false
		for _, lesion := range merged.Lesions {
			sum.organs[lesion.Examination.Organ]++
			if lesion.Resection != nil && lesion.Resection.Technique.Dissects() {
				dissected = true
				sum.lesion(lesion)
			}
		}
		if !dissected {
			continue
		}
		for _, e := range merged.Events {
			switch {
			case e.Kind == report.EventPerforation && e.Timing == report.DuringSession:
				sum.perforations++
			case e.Kind == report.EventBleeding:
				sum.laterBleedings++
			}
		}
	}
	return sum
}

func (s *tally) lesion(lesion report.Lesion) {
	s.dissections++
	pieces, known := lesion.Resection.Pieces.Value()
	if !known {
		return
	}
	s.pieces++
	if pieces == 1 {
		s.onePiece++
	}
	if long, ok := lesion.Examination.SizeLongMm.Value(); ok {
		s.sizes = append(s.sizes, math.Log(long))
	}
	h := lesion.Histology
	if h == nil || !report.Known(h.HorizontalMargin) || !report.Known(h.VerticalMargin) {
		return
	}
	s.margins++
	if pieces == 1 && h.HorizontalMargin == report.Negative && h.VerticalMargin == report.Negative {
		s.clear++
	}
}

// A cohort has the rates that it promises, within four standard errors.
func TestCohortRates(t *testing.T) {
	t.Parallel()
	const n = 8000
	sum := count(t, n)
	near := func(name string, want, hits, of float64) {
		t.Helper()
		require.InDelta(t, want, hits/of, 4*math.Sqrt(want*(1-want)/of), name)
	}
	near("one piece", 0.955, sum.onePiece, sum.pieces)
	near("clear margins", 0.88, sum.clear, sum.margins)
	near("perforation", 0.03, sum.perforations, sum.dissections)
	near("later bleeding", 0.04, sum.laterBleedings, sum.dissections)
	for _, organ := range []report.Organ{report.Stomach, report.Oesophagus, report.Duodenum, report.Colon, report.Rectum} {
		require.Greater(t, sum.organs[organ], 0.02*n, organ)
	}
	mean, deviation := moments(sum.sizes)
	require.InDelta(t, math.Log(20), mean, 0.15, "median size near 20 mm")
	require.InDelta(t, 0.45, deviation, 0.08, "sizes are spread like a log-normal distribution")
}

func moments(values []float64) (mean, deviation float64) {
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for _, v := range values {
		deviation += (v - mean) * (v - mean) / float64(len(values))
	}
	return mean, math.Sqrt(deviation)
}

// BenchmarkCohort measures one case of a stream.
func BenchmarkCohort(b *testing.B) {
	seen := 0
	for range sample.Cohort(b.N, 1) {
		seen++
	}
	require.Equal(b, b.N, seen)
}
