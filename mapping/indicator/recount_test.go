package indicator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess/stats"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// tri is one indicator counted by hand: yes, no, not evaluable.
type tri struct{ yes, no, open int }

func (n *tri) add(yes, no bool) {
	switch {
	case yes:
		n.yes++
	case no:
		n.no++
	default:
		n.open++
	}
}

// TestRecount counts three indicators straight from the reports, with none of
// the rules, tables and predicates between. DuckDB and statsmodels do it for
// all of them (testdata/peers/tables).
func TestRecount(t *testing.T) {
	t.Parallel()
	got := cohort(t, 2500, Query{SmallCell: 1})
	var bloc, r0, fast tri
	for c := range sample.Cohort(2500, 11) {
		rep := c.Merged()
		if rep.Status == report.Draft || rep.Status == report.Withdrawn {
			continue
		}
		for _, l := range rep.Lesions {
			if r := l.Resection; r != nil && (r.Technique == report.ESD || r.Technique == report.HybridESD) {
				inOne, inMore := pieces(r)
				bloc.add(inOne, inMore)
				clear, touched := edges(l.Histology)
				r0.add(inOne && clear, inMore || touched)
				fast.add(speedOf(l))
			}
		}
	}
	for id, want := range map[string]tri{"en-bloc": bloc, "r0": r0, "speed-9": fast} {
		x := of(t, got, id, "")
		require.Equal(t, want.yes, *x.Numerator, id)
		require.Equal(t, want.yes+want.no, *x.Denominator, id)
		require.Equal(t, want.open, *x.NotEvaluable, id)
		interval, err := stats.Wilson(want.yes, want.yes+want.no, 1.959964)
		require.NoError(t, err)
		require.InDelta(t, interval.Lower, *x.Lower, 1e-12)
		require.InDelta(t, interval.Upper, *x.Upper, 1e-12)
	}
}

func pieces(r *report.Resection) (one, more bool) {
	n, known := r.Pieces.Value()
	whole := r.VisibleResidual == report.No || !report.Known(r.VisibleResidual) && r.Completion == report.CompletionComplete
	left := r.VisibleResidual == report.Yes || !report.Known(r.VisibleResidual) &&
		(r.Completion == report.CompletionPartial || r.Completion == report.CompletionAbandoned)
	return known && n <= 1 && whole, known && n > 1 || left
}

func edges(h *report.Histology) (clear, touched bool) {
	if h == nil {
		return false, false
	}
	return h.HorizontalMargin == report.Negative && h.VerticalMargin == report.Negative,
		h.HorizontalMargin == report.Positive || h.VerticalMargin == report.Positive
}

func speedOf(l report.Lesion) (fast, slow bool) {
	if l.Specimen == nil {
		return false, false
	}
	long, ok1 := l.Specimen.SizeLongMm.Value()
	short, ok2 := l.Specimen.SizeShortMm.Value()
	first, last := math.Inf(1), math.Inf(-1)
	for _, p := range l.Resection.Phases {
		from, to := float64(p.Start.At().Unix()), float64(p.End.At().Unix())
		switch p.Step {
		case report.StepIncision:
			first, last = min(first, from), max(last, to)
		case report.StepTrimming, report.StepDissection, report.StepSnaring:
			last = max(last, to)
		}
	}
	if !ok1 || !ok2 || long <= 0 || short <= 0 || math.IsInf(first, 1) || last <= first {
		return false, false
	}
	cm2PerHour := math.Pi / 4 * long * short / 100 / ((last - first) / 3600)
	return cm2PerHour >= 9, cm2PerHour < 9
}
