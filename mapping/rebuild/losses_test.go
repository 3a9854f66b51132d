package rebuild

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
)

// No loss is an excuse: without any one of them, some case does not come back.
func TestEveryLossIsReal(t *testing.T) {
	t.Parallel()
	pipeline := mapping.New([]byte("HTEST rebuild key, no secret"))
	type pair struct{ sent, back report.Report }
	var pairs []pair
	for _, c := range sample.Cover(sample.CoverAll) {
		rep := c.Merged()
		if rep.Status == report.Withdrawn {
			continue
		}
		g, err := pipeline.Map(rep, 1)
		require.NoError(t, err)
		record, err := FromGraph(g)
		require.NoError(t, err)
		back, err := record.Report()
		require.NoError(t, err)
		pairs = append(pairs, pair{rep, back})
	}
	var excuses []string
	for _, left := range losses {
		needed := false
		for _, p := range pairs {
			if without(t, p.sent, left) != without(t, p.back, left) {
				needed = true
				break
			}
		}
		if !needed {
			excuses = append(excuses, left.Field)
		}
	}
	require.Empty(t, excuses)
}

// without reduces a report by every loss but one.
func without(t *testing.T, rep report.Report, left Loss) string {
	t.Helper()
	out, err := copyOf(rep)
	require.NoError(t, err)
	for _, loss := range losses {
		if loss.Field != left.Field {
			loss.reduce(&out)
		}
	}
	return saying(out)
}
