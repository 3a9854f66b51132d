package fhir_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir"
)

func TestMapGastricESD(t *testing.T) {
	t.Parallel()
	g := mapped(t, gastricESD(t))
	require.NoError(t, fhir.Validate(g))
}

func BenchmarkMap(b *testing.B) {
	rep := gastricESD(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := fhir.Map(rep, nil, options()); err != nil {
			b.Fatal(err)
		}
	}
}
