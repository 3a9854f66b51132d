package server

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"enbloc/server/fault"
	"enbloc/server/intake"
	"enbloc/server/store"
)

// metrics are what the API counts. Every label takes its values from a fixed
// set, so no data of a request can become one; all sets are filled from the
// start, so that a zero is seen.
type metrics struct {
	handler   http.Handler
	requests  *prometheus.CounterVec
	seconds   *prometheus.HistogramVec
	documents *prometheus.CounterVec
}

func newMetrics(r *prometheus.Registry) *metrics {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "enbloc_http_requests_total", Help: "Requests by method, route template and class of status.",
		}, []string{"method", "route", "class"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "enbloc_http_request_seconds", Help: "Time from the end of a request's head to the end of its answer.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 5},
		}, []string{"route"}),
		documents: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "enbloc_documents_total", Help: "Documents sent, by kind and what became of them.",
		}, []string{"kind", "outcome"}),
	}
	for _, kind := range []store.Kind{store.Report, store.Histology, store.Events} {
		for _, outcome := range outcomes {
			m.documents.WithLabelValues(string(kind), outcome)
		}
	}
	r.MustRegister(m.requests, m.seconds, m.documents)
	// A registry that is shared may have these already.
	for _, c := range []prometheus.Collector{collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{})} {
		_ = r.Register(c)
	}
	m.handler = promhttp.HandlerFor(r, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError})
	return m
}

// outcomes of a document, in the order of outcomeLabel.
var outcomes = []string{"accepted", "parked", "repeated", "rejected", "conflict", "unreadable", "failed"}

func outcomeLabel(r intake.Receipt, err error) string {
	switch {
	case err == nil && r.Repeated:
		return "repeated"
	case err == nil:
		return string(r.Outcome)
	case fault.Is(err, fault.Invalid):
		return "rejected"
	case fault.Is(err, fault.Malformed):
		return "unreadable"
	case fault.Is(err, fault.Conflict):
		return "conflict"
	}
	return "failed"
}

func (m *metrics) request(method, route string, status int, took time.Duration) {
	m.requests.WithLabelValues(method, route, strconv.Itoa(status/100)+"xx").Inc()
	m.seconds.WithLabelValues(route).Observe(took.Seconds())
}

func (m *metrics) document(kind store.Kind, outcome string) {
	m.documents.WithLabelValues(string(kind), outcome).Inc()
}
