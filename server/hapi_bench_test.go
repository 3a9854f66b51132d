package server_test

import (
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

const (
	hapiRounds  = 3
	hapiCases   = 40 // a round of each kind
	hapiSenders = 4  // at once, of either
)

// BenchmarkThroughputOfARealServer asks what the service takes from a FHIR
// server that others wrote (ENBLOC_TEST_HAPI): reports accepted, delivered and
// read back as the program does, beside bare POSTs of prebuilt Bundles of the
// same kind to the same server, by turns in the same run. A server becomes
// slower as it fills, by some 4% from turn to turn, so each turn of the service
// is held against the bare turns before and after it. Figure: "percent-of-raw"
// is cases a second over Bundles a second, times 100; the median of the rounds.
func BenchmarkThroughputOfARealServer(b *testing.B) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	if base == "" {
		b.Skip("ENBLOC_TEST_HAPI names no server")
	}
	s := servertest.Start(b, servertest.Options{Server: base, Sampled: true, LooksUp: true})
	bare := func() float64 {
		_, bundles := benchDocuments(b, hapiCases)
		makeKnown(b, s, bundles)
		start := time.Now()
		inParallel(b, hapiSenders, bundles, func(body []byte) int { return postUntilTaken(b, base, body) })
		rate := hapiCases / time.Since(start).Seconds()
		b.Logf("raw %.2f/s", rate)
		return rate
	}
	whole := func(cases int) float64 {
		reports, bundles := benchDocuments(b, cases)
		makeKnown(b, s, bundles)
		start := time.Now()
		inParallel(b, hapiSenders, reports, func(body []byte) int { return post(b, s.URL+"/cases", body) })
		s.Settle()
		rate := float64(cases) / time.Since(start).Seconds()
		b.Logf("whole path %.2f/s", rate)
		return rate
	}
	for b.Loop() {
		// The server compiles its code, and the service feels its way up to what the
		// server bears: neither belongs to what is sustained.
		bare()
		whole(hapiCases / 4)
		var shares []float64
		raws := []float64{bare()}
		for range hapiRounds {
			rate := whole(hapiCases)
			raws = append(raws, bare())
			shares = append(shares, 200*rate/(raws[len(raws)-2]+raws[len(raws)-1]))
		}
		slices.Sort(shares)
		slices.Sort(raws)
		b.ReportMetric(shares[len(shares)/2], "percent-of-raw")
		b.ReportMetric(raws[len(raws)/2], "raw/s")
	}
}

// postUntilTaken sends again what lost a race for a resource that many Bundles
// bring, as any sender has to.
func postUntilTaken(b *testing.B, base string, body []byte) int {
	for {
		if status := postAs(b, base, "application/fhir+json", body); status != http.StatusConflict {
			return status
		}
	}
}

var named = regexp.MustCompile(`"([A-Z][A-Za-z]+)\?identifier=([^"]+)"`)

// makeKnown creates whom the Bundles name, as a hospital's other systems would
// have: a server refuses a Bundle that names somebody unknown.
func makeKnown(b *testing.B, s *servertest.Service, bundles [][]byte) {
	b.Helper()
	done := map[string]bool{}
	for _, body := range bundles {
		for _, m := range named.FindAllStringSubmatch(string(body), -1) {
			if done[m[0]] {
				continue
			}
			done[m[0]] = true
			token, err := url.QueryUnescape(m[2])
			require.NoError(b, err)
			system, value, _ := strings.Cut(token, "|")
			s.MakeKnown(m[1], system, value)
		}
	}
}
