package mapping_test

import (
	"bytes"
	"encoding/json"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/sample"
)

// BenchmarkTransform runs the transformation of one case beside what any
// program would spend that only read the resulting Bundle and wrote it again
// with encoding/json. The metrics are ratios of the two in the same run:
// "of-generic" is check + assess + map over decode + encode, "rules-of-map" all
// rules over mapping alone.
func BenchmarkTransform(b *testing.B) {
	raw, err := json.Marshal(sample.Make(7).Merged())
	require.NoError(b, err)
	p := mapping.New([]byte("HTEST identity key, never for patients"))
	rep, findings := mapping.Check(raw)
	require.NotEmpty(b, rep.Lesions, findings)
	g, err := p.Map(rep, 1)
	require.NoError(b, err)
	bundle := fhir.Bundle(g)

	var ours, generic, rules, mapped time.Duration
	timed := func(total *time.Duration, f func()) {
		start := time.Now()
		f()
		*total += time.Since(start)
	}
	b.ReportAllocs()
	for b.Loop() {
		timed(&ours, func() {
			rep, _ := mapping.Check(raw)
			_, err := p.Map(rep, 1)
			require.NoError(b, err)
		})
		timed(&generic, func() {
			var any map[string]any
			decoder := json.NewDecoder(bytes.NewReader(bundle))
			decoder.UseNumber()
			require.NoError(b, decoder.Decode(&any))
			require.NoError(b, json.NewEncoder(io.Discard).Encode(any))
		})
		results := p.Assess(rep)
		timed(&rules, func() { p.Assess(rep) })
		options := p.FHIR
		options.Sequence, options.BookVersion = 1, p.Book.Version
		timed(&mapped, func() {
			_, err := fhir.Map(rep, results, options)
			require.NoError(b, err)
		})
	}
	b.ReportMetric(float64(ours)/float64(generic), "of-generic")
	b.ReportMetric(float64(rules)/float64(mapped), "rules-of-map")
	b.ReportMetric(float64(len(bundle))/1024, "KB-bundle")
	b.ReportMetric(float64(len(g.Resources)), "resources")
}
