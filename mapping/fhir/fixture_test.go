package fhir_test

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/report"
)

func options() fhir.Options {
	return fhir.Options{Key: []byte("HTEST-key-of-32-bytes-0123456789"), Tenant: "HTEST-site", Sequence: 1,
		SoftwareVersion: "0.0.0-test", BookVersion: "0.0.0-test"}
}

// gastricESD is an invented case: one gastric ESD, signed, histology pending.
func gastricESD(t testing.TB) report.Report {
	t.Helper()
	raw, err := os.ReadFile("testdata/gastric_esd.json")
	require.NoError(t, err)
	var rep report.Report
	require.NoError(t, json.Unmarshal(raw, &rep))
	return rep
}

func mapped(t testing.TB, rep report.Report) graph.Graph {
	t.Helper()
	g, err := fhir.Map(rep, nil, options())
	require.NoError(t, err)
	return g
}
