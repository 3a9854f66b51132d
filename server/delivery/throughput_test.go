package delivery_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// sink is the least that a target can be: it takes a bundle without a look at
// its content, remembers the bodies and gives them back.
type sink struct{ kept sync.Map }

func (s *sink) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch {
	case strings.HasSuffix(r.URL.Path, "/_search"):
		_, _ = io.Copy(io.Discard, r.Body)
		kind := strings.Split(r.URL.Path, "/")[1]
		_, _ = io.WriteString(w, `{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"`+kind+`","id":"1"}}]}`)
	case r.Method == http.MethodGet:
		if body, ok := s.kept.Load(r.URL.Path[1:]); ok {
			_, _ = w.Write(body.([]byte))
			return
		}
		w.WriteHeader(http.StatusNotFound)
	default:
		s.take(w, r)
	}
}

func (s *sink) take(w http.ResponseWriter, r *http.Request) {
	var bundle struct {
		Entry []struct {
			FullURL  string `json:"fullUrl"`
			Resource json.RawMessage
			Request  struct{ URL string }
		}
	}
	raw, _ := io.ReadAll(r.Body)
	if err := json.Unmarshal(raw, &bundle); err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	ids := make([]string, 0, 2*len(bundle.Entry))
	for _, e := range bundle.Entry {
		ids = append(ids, e.FullURL, e.Request.URL+"/"+uuid.NewString())
	}
	linked := strings.NewReplacer(ids...)
	var out bytes.Buffer
	out.WriteString(`{"resourceType":"Bundle","type":"transaction-response","entry":[`)
	for i, e := range bundle.Entry {
		at := ids[2*i+1]
		s.kept.Store(at, []byte(linked.Replace(string(e.Resource))))
		if i > 0 {
			out.WriteByte(',')
		}
		out.WriteString(`{"response":{"status":"201 Created","location":"` + at + `/_history/1","etag":"1"}}`)
	}
	out.WriteString(`]}`)
	_, _ = w.Write(out.Bytes())
}

// wide is a case of the size that a real one has: about 50 resources.
func wide(name string) scene { return scene{name: name, sequence: 1, device: "HTEST-GEN", more: 45} }

// BenchmarkDelivery compares the outbox (claim, render, look up the patient,
// send, ledger, read back, finish; SQLite with synchronous FULL) with the bare
// POST of the same bundles to the same sink, 16 at a time. The figure to watch
// is "times-raw", the ratio within one run.
func BenchmarkDelivery(b *testing.B) {
	for _, engine := range []string{"sqlite", "postgres"} {
		b.Run(engine, func(b *testing.B) {
			dsn := ""
			if engine == "postgres" {
				dsn = postgresURL(b)
			}
			for b.Loop() {
				raw, whole := throughput(b, dsn, 400)
				b.ReportMetric(raw, "raw/s")
				b.ReportMetric(whole, "delivered/s")
				b.ReportMetric(raw/whole, "times-raw")
			}
		})
	}
}

func throughput(b *testing.B, dsn string, cases int) (raw, whole float64) {
	web := httptest.NewServer(&sink{})
	defer web.Close()
	p := newPlant(b, dsn, func(o *delivery.Options) {
		client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL})
		require.NoError(b, err)
		o.Targets = []delivery.Target{{Name: "sink", Client: client}}
	})
	run := uuid.NewString()
	for n := range cases {
		p.accept(wide(fmt.Sprint(run, n)))
	}
	start := time.Now()
	p.start()
	require.Eventually(b, func() bool {
		counts, err := p.store.OpenCounts(context.Background())
		return err == nil && len(counts) == 0
	}, 5*time.Minute, 5*time.Millisecond)
	whole = float64(cases) / time.Since(start).Seconds()
	for _, d := range p.rows(wide(fmt.Sprint(run, 0)).caseKey()) {
		require.Equal(b, store.Delivered, d.State, d.Explanation)
	}
	p.close()
	return rawPosts(b, web.URL, cases), whole
}

func rawPosts(b *testing.B, url string, cases int) float64 {
	client, err := fhirserver.New(fhirserver.Config{BaseURL: url})
	require.NoError(b, err)
	bodies := make(chan []byte, cases)
	for n := range cases {
		var entries []string
		for _, r := range wide(fmt.Sprint("raw", n)).graph().Resources {
			entries = append(entries, `{"fullUrl":"`+r.Reference()+`","resource":`+string(r.Body)+`,"request":{"method":"POST","url":"`+r.Type+`","ifNoneExist":"`+r.Condition()+`"}}`)
		}
		bodies <- []byte(`{"resourceType":"Bundle","type":"transaction","entry":[` + strings.Join(entries, ",") + `]}`)
	}
	close(bodies)
	start := time.Now()
	var wait sync.WaitGroup
	for range 16 {
		wait.Go(func() {
			for body := range bodies {
				if a := client.Transaction(context.Background(), body); a.Status != http.StatusOK {
					b.Error(a.Status, a.Err)
				}
			}
		})
	}
	wait.Wait()
	return float64(cases) / time.Since(start).Seconds()
}
