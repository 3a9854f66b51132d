//go:build peers

package server_test

import (
	"encoding/json"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/server/servertest"
)

const (
	hapiCases   = 40 // of each kind, a round
	hapiSenders = 4  // as many as the service has workers in these tests
)

// BenchmarkWholePathToHAPI compares the whole path (accepted over HTTP, mapped,
// delivered, read back as by default) into a real server with the bare POST of
// Bundles of the same cases under other names, as many at a time. Raw and whole
// take turns, so that a server that warms up favours neither. "share-of-raw" is
// the whole path's rate over the raw one's, in percent.
func BenchmarkWholePathToHAPI(b *testing.B) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(b, base, "start HAPI and give its base URL in ENBLOC_TEST_HAPI")
	s := servertest.Start(b, servertest.Options{Server: base, Sampled: true})
	for _, body := range hapiReports(b, "warm") { // patients made known, code compiled
		s.MustAccept("/cases", body)
	}
	s.Settle()
	var raw, whole time.Duration
	rounds := 0
	for b.Loop() {
		rounds++
		bundles := hapiBundles(b, hapiReports(b, "raw"))
		start := time.Now()
		inParallel(b, hapiSenders, bundles, func(body []byte) int { return post(b, base, body) })
		raw += time.Since(start)
		reports := hapiReports(b, "whole")
		start = time.Now()
		inParallel(b, hapiSenders, reports, func(body []byte) int { return post(b, s.URL+"/cases", body) })
		s.Settle()
		whole += time.Since(start)
	}
	b.ReportMetric(float64(rounds*hapiCases)/raw.Seconds(), "raw/s")
	b.ReportMetric(float64(rounds*hapiCases)/whole.Seconds(), "delivered/s")
	b.ReportMetric(100*raw.Seconds()/whole.Seconds(), "share-of-raw-%")
}

// hapiReports are the same cases each time, of a sender that nobody has seen.
func hapiReports(b *testing.B, name string) [][]byte {
	b.Helper()
	sender := fmt.Sprintf("https://hospital.example/%s/%s", name, uuid.NewString())
	var reports [][]byte
	for seed := uint64(1); len(reports) < hapiCases; seed++ {
		rep := sample.Make(seed).Report
		rep.SourceSystem, rep.ReportID.System = sender, sender
		body, err := json.Marshal(rep)
		require.NoError(b, err)
		reports = append(reports, body)
	}
	return reports
}

func hapiBundles(b *testing.B, reports [][]byte) [][]byte {
	b.Helper()
	p := mapping.New(servertest.Key)
	bundles := make([][]byte, len(reports))
	for i, body := range reports {
		var rep report.Report
		require.NoError(b, json.Unmarshal(body, &rep))
		g, err := p.Map(rep, 1)
		require.NoError(b, err)
		bundles[i] = fhir.Bundle(g)
	}
	return bundles
}
