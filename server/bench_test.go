package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/mapping/sample"
	"enbloc/server/servertest"
)

// sink is little of a target: it looks only for what it has to name in its
// answer, and for one part of a bundle when somebody asks for it. A target that
// decoded JSON would cost more than the service that is measured. What it spends
// on looking it spends on both sides, and the ratio hangs on it: leave how it
// takes bundles as it is, or measure what came before anew.
type sink struct {
	bundles sync.Map // number → kept
	count   atomic.Int64
}

func (s *sink) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/fhir+json")
	switch {
	case strings.HasSuffix(r.URL.Path, "/_search"):
		_, _ = io.Copy(io.Discard, r.Body)
		kind := strings.Split(strings.TrimPrefix(r.URL.Path, "/fhir/"), "/")[0]
		_, _ = io.WriteString(w, `{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"`+kind+`","id":"1"}}]}`)
	case r.Method == http.MethodPost:
		s.take(w, r)
	default:
		s.give(w, strings.TrimPrefix(r.URL.Path, "/fhir/"))
	}
}

// kept is a bundle and where in it the types of its entries stand.
type kept struct {
	body  []byte
	types []int
	names func() map[string]int // the entries by their names, made when a part is asked for
}

// The frame that enbloc writes around resources.
var (
	fullURL    = []byte(`{"fullUrl":"`)
	resource   = []byte(`","resource":`)
	requestURL = []byte(`"request":{"method":"POST","url":"`)
	urn        = []byte("urn:uuid:")
)

const urnLen = len("urn:uuid:") + 36

func (s *sink) take(w http.ResponseWriter, r *http.Request) {
	number := s.count.Add(1)
	var k kept
	k.body, _ = io.ReadAll(r.Body)
	var out bytes.Buffer
	out.WriteString(`{"resourceType":"Bundle","type":"transaction-response","entry":[`)
	for i, at := 0, 0; ; i++ {
		found := bytes.Index(k.body[at:], requestURL)
		if found < 0 {
			break
		}
		at += found + len(requestURL)
		k.types = append(k.types, at)
		if i > 0 {
			out.WriteByte(',')
		}
		fmt.Fprintf(&out, `{"response":{"status":"201 Created","location":"%s/%d-%d/_history/1","etag":"W/\"1\""}}`, k.kind(i), number, i)
	}
	out.WriteString(`]}`)
	k.names = sync.OnceValue(k.named)
	s.bundles.Store(number, k)
	_, _ = w.Write(out.Bytes())
}

func (k kept) kind(entry int) string {
	kind, _, _ := bytes.Cut(k.body[k.types[entry]:], []byte(`"`))
	return string(kind)
}

// at is one entry: its name in the bundle, and what it holds.
func (k kept) at(entry int) (name, content []byte) {
	start := 0
	if entry > 0 {
		start = k.types[entry-1]
	}
	_, e, _ := bytes.Cut(k.body[start:k.types[entry]-len(requestURL)], fullURL)
	name, content, _ = bytes.Cut(e, resource)
	return name, bytes.TrimSuffix(content, []byte(","))
}

func (s *sink) give(w http.ResponseWriter, place string) {
	var number int64
	var entry int
	kind, id, _ := strings.Cut(place, "/")
	_, err := fmt.Sscanf(id, "%d-%d", &number, &entry)
	held, known := s.bundles.Load(number)
	k, _ := held.(kept)
	if err != nil || !known || entry >= len(k.types) || k.kind(entry) != kind {
		w.WriteHeader(http.StatusNotFound)
		return
	}
	_, content := k.at(entry)
	_, _ = fmt.Fprintf(w, `{"id":%q,%s`, id, k.linked(content, number)[1:])
}

func (k kept) named() map[string]int {
	names := make(map[string]int, len(k.types))
	for i := range k.types {
		name, _ := k.at(i)
		names[string(name)] = i
	}
	return names
}

// linked is a resource as it stands: with the places of what it refers to.
func (k kept) linked(content []byte, number int64) []byte {
	var out bytes.Buffer
	for rest := content; ; {
		at := bytes.Index(rest, urn)
		if at < 0 {
			out.Write(rest)
			return out.Bytes()
		}
		link := rest[at:min(at+urnLen, len(rest))]
		out.Write(rest[:at])
		if i, known := k.names()[string(link)]; known {
			fmt.Fprintf(&out, "%s/%d-%d", k.kind(i), number, i)
		} else {
			out.Write(link)
		}
		rest = rest[at+len(link):]
	}
}

const (
	benchCases   = 400
	benchClients = 8
	rawSenders   = 8
	rawRounds    = 2 // before the whole path, and as many after it
	warmCases    = 100
)

// BenchmarkWholePath sends reports over HTTP with eight clients while they are
// being delivered, and compares with the bare POST of the same prebuilt
// Bundles to the same kind of sink in the same run. Both rates are sustained:
// what comes first, while connections open and statements are prepared, is not
// counted. Figures: "times-raw" is the raw rate over the whole path's,
// "accept-p99-ms" the time until 202 with delivery going on beside.
func BenchmarkWholePath(b *testing.B) {
	for _, engine := range []string{"sqlite", "postgres"} {
		b.Run(engine, func(b *testing.B) {
			var o servertest.Options
			if engine == "postgres" {
				o.Database = os.Getenv("ENBLOC_TEST_POSTGRES")
				if o.Database == "" {
					b.Skip("ENBLOC_TEST_POSTGRES names no database")
				}
			}
			for b.Loop() {
				benchWholePath(b, o)
			}
		})
	}
}

func benchWholePath(b *testing.B, o servertest.Options) {
	reports, bundles := benchDocuments(b, warmCases+benchCases)
	target := &sink{}
	o.Target = func(http.Handler) http.Handler { return target }
	s := servertest.Start(b, o)
	send := func(body []byte) int { return post(b, s.URL+"/cases", body) }
	inParallel(b, benchClients, reports[:warmCases], send)
	s.Settle()
	bareRound(b, bundles[:warmCases])

	bare := bareRounds(b, bundles[warmCases:])
	start := time.Now()
	latencies := inParallel(b, benchClients, reports[warmCases:], send)
	s.Settle()
	whole := time.Since(start)
	bare += bareRounds(b, bundles[warmCases:])

	slices.Sort(latencies)
	b.ReportMetric(2*rawRounds*benchCases/bare.Seconds(), "raw/s")
	b.ReportMetric(benchCases/whole.Seconds(), "delivered/s")
	b.ReportMetric(2*rawRounds*whole.Seconds()/bare.Seconds(), "times-raw")
	b.ReportMetric(float64(latencies[len(latencies)*99/100].Microseconds())/1000, "accept-p99-ms")
}

// bareRounds sends Bundles several times, as once takes a fraction of a second
// and says as much about the moment.
func bareRounds(b *testing.B, bundles [][]byte) (took time.Duration) {
	for range rawRounds {
		took += bareRound(b, bundles)
	}
	return took
}

func bareRound(b *testing.B, bundles [][]byte) time.Duration {
	raw := httptest.NewServer(&sink{})
	defer raw.Close()
	start := time.Now()
	inParallel(b, rawSenders, bundles, func(body []byte) int { return post(b, raw.URL+"/fhir", body) })
	return time.Since(start)
}

// benchDocuments are reports of this run and the Bundles made of them.
func benchDocuments(b *testing.B, n int) (reports, bundles [][]byte) {
	sender := fmt.Sprintf("https://hospital.example/bench/%d", time.Now().UnixNano())
	p := mapping.New(servertest.Key)
	for seed := uint64(1); len(reports) < n; seed++ {
		rep := sample.Make(seed).Report
		rep.SourceSystem = sender
		body, err := json.Marshal(rep)
		require.NoError(b, err)
		g, err := p.Map(rep, 1)
		require.NoError(b, err)
		reports, bundles = append(reports, body), append(bundles, fhir.Bundle(g))
	}
	return reports, bundles
}

func inParallel(b *testing.B, n int, bodies [][]byte, send func([]byte) int) []time.Duration {
	took := make([]time.Duration, len(bodies))
	var next atomic.Int64
	var wait sync.WaitGroup
	for range n {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(bodies); i = int(next.Add(1)) - 1 {
				start := time.Now()
				if status := send(bodies[i]); status >= http.StatusMultipleChoices {
					b.Errorf("status %d", status)
				}
				took[i] = time.Since(start)
			}
		})
	}
	wait.Wait()
	return took
}

var benchClient = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: rawSenders}}

func post(b *testing.B, url string, body []byte) int {
	return postAs(b, url, "application/json", body)
}

func postAs(b *testing.B, url, contentType string, body []byte) int {
	req, err := http.NewRequestWithContext(context.Background(), http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		b.Error(err)
		return http.StatusInternalServerError
	}
	req.Header.Set("Content-Type", contentType)
	res, err := benchClient.Do(req)
	if err != nil {
		b.Error(err)
		return http.StatusInternalServerError
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, res.Body)
	return res.StatusCode
}
