package pseudo_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/pseudo"
	"enbloc/mapping/sample"
)

// BenchmarkApply compares pseudonymising a case with mapping it, in the same run.
func BenchmarkApply(b *testing.B) {
	p := mapping.New(key)
	rep := sample.Make(7).Merged()
	g, err := p.Map(rep, 1)
	require.NoError(b, err)
	r, err := pseudo.New(pseudo.Settings{Name: "bench", Secret: secret})
	require.NoError(b, err)
	var ours, mapped time.Duration
	for b.Loop() {
		start := time.Now()
		_, err := r.Apply(g)
		require.NoError(b, err)
		ours += time.Since(start)
		start = time.Now()
		_, err = p.Map(rep, 1)
		require.NoError(b, err)
		mapped += time.Since(start)
	}
	b.ReportMetric(float64(ours)/float64(mapped), "of-mapping")
}
