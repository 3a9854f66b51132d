package fhir_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
)

func TestMapGastricESD(t *testing.T) {
	t.Parallel()
	g := mapped(t, gastricESD(t))
	require.NoError(t, fhir.Validate(g))
}

// A case with its histology and every answer of the book.
func BenchmarkMap(b *testing.B) {
	rep := withHistology(b, report.HistologyFinal)
	results := assess.DefaultBook().Assess(rep)
	g, err := fhir.Map(rep, results, options())
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := fhir.Map(rep, results, options()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(g.Resources)), "resources")
	b.ReportMetric(float64(len(fhir.Bundle(g))), "bytes")
}

func BenchmarkValidate(b *testing.B) {
	g := mapped(b, withHistology(b, report.HistologyFinal))
	b.ReportAllocs()
	for b.Loop() {
		if err := fhir.Validate(g); err != nil {
			b.Fatal(err)
		}
	}
}
