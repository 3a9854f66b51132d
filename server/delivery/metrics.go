package delivery

import (
	"context"
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"enbloc/server/store"
	"enbloc/server/target"
)

// metrics counts by target, class, state and effect: closed sets, all created
// at the start, so that a rate over a class that has not occurred yet is 0 and
// not nothing.
type metrics struct {
	attempts  *prometheus.CounterVec
	settled   *prometheus.CounterVec
	resources *prometheus.CounterVec
	doubles   *prometheus.CounterVec
	seconds   *prometheus.HistogramVec
	open      *openRows
	circuits  *circuits
}

func newMetrics(targets []string, st *store.Store, now func() time.Time) *metrics {
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "enbloc", Subsystem: "delivery", Name: name, Help: help}, labels)
	}
	m := &metrics{
		attempts:  counter("attempts_total", "Attempts by the class of their outcome.", "target", "class"),
		settled:   counter("rows_total", "Outbox rows by the state an attempt left them in.", "target", "state"),
		resources: counter("resources_total", "Resources by what happened to them on the target.", "target", "effect"),
		doubles:   counter("doubles_marked_total", "Copies of our resources on the target that were marked as entered in error.", "target"),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Namespace: "enbloc", Subsystem: "delivery", Name: "attempt_seconds",
			Help: "Duration of attempts.", Buckets: []float64{.01, .03, .1, .3, 1, 3, 10, 30, 100}}, []string{"target"}),
		open: &openRows{targets: targets, store: st, now: now,
			rows:    prometheus.NewDesc("enbloc_delivery_open_rows", "Outbox rows that are not settled.", []string{"target", "state"}, nil),
			stopped: prometheus.NewDesc("enbloc_delivery_stopped_rows", "Outbox rows that wait for somebody to decide.", []string{"target", "state"}, nil),
			age:     prometheus.NewDesc("enbloc_delivery_oldest_seconds", "Age of the oldest outbox row that is not settled.", []string{"target"}, nil)},
	}
	for _, t := range targets {
		for _, c := range target.Classes() {
			m.attempts.WithLabelValues(t, string(c))
		}
		for _, s := range store.DeliveryStates() {
			m.settled.WithLabelValues(t, string(s))
		}
		for _, e := range Effects() {
			m.resources.WithLabelValues(t, string(e))
		}
		m.doubles.WithLabelValues(t)
		m.seconds.WithLabelValues(t)
	}
	return m
}

func (m *metrics) register(r prometheus.Registerer) error {
	var err error
	for _, c := range []prometheus.Collector{m.attempts, m.settled, m.resources, m.doubles, m.seconds, m.open, m.circuits} {
		err = errors.Join(err, r.Register(c))
	}
	return err
}

func (m *metrics) attempt(target string, a store.Attempt, left store.DeliveryState, r Result) {
	m.attempts.WithLabelValues(target, a.Class).Inc()
	m.settled.WithLabelValues(target, string(left)).Inc()
	m.seconds.WithLabelValues(target).Observe(a.Duration.Seconds())
	m.doubles.WithLabelValues(target).Add(float64(len(r.Doubles)))
	for _, e := range Effects() {
		m.resources.WithLabelValues(target, string(e)).Add(float64(r.Count(e)))
	}
}

// openRows asks the store when it is scraped; open rows are few however many
// are done.
type openRows struct {
	targets   []string
	store     *store.Store
	now       func() time.Time
	rows, age *prometheus.Desc
	stopped   *prometheus.Desc
}

// Describe implements prometheus.Collector.
func (o *openRows) Describe(ch chan<- *prometheus.Desc) { ch <- o.rows; ch <- o.age; ch <- o.stopped }

// Collect implements prometheus.Collector.
func (o *openRows) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	counts, err := o.store.OpenCounts(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(o.rows, err)
		return
	}
	stopped, err := o.store.StoppedCounts(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(o.stopped, err)
		return
	}
	rows, oldest := map[[2]string]int64{}, map[string]time.Time{}
	for _, c := range counts {
		rows[[2]string{c.Target, string(c.State)}] = c.Rows
		if at, ok := oldest[c.Target]; !ok || c.Oldest.Before(at) {
			oldest[c.Target] = c.Oldest
		}
	}
	for _, c := range stopped {
		rows[[2]string{c.Target, string(c.State)}] = c.Rows
	}
	for _, t := range o.targets {
		for _, s := range store.DeliveryStates() {
			n := float64(rows[[2]string{t, string(s)}])
			switch {
			case s.Open():
				ch <- prometheus.MustNewConstMetric(o.rows, prometheus.GaugeValue, n, t, string(s))
			case s == store.InConflict || s == store.Dead:
				ch <- prometheus.MustNewConstMetric(o.stopped, prometheus.GaugeValue, n, t, string(s))
			}
		}
		age := 0.0
		if at, ok := oldest[t]; ok {
			age = max(o.now().Sub(at).Seconds(), 0)
		}
		ch <- prometheus.MustNewConstMetric(o.age, prometheus.GaugeValue, age, t)
	}
}

// circuits shows which targets are being called, and how much at once, when it
// is scraped.
type circuits struct {
	service *Service
	desc    *prometheus.Desc
	bound   *prometheus.Desc
	rung    *prometheus.Desc
	stepped *prometheus.Desc
}

func newCircuits(s *Service) *circuits {
	return &circuits{s, prometheus.NewDesc("enbloc_delivery_circuit", "1 for the state that the circuit of a target is in.", []string{"target", "state"}, nil),
		prometheus.NewDesc("enbloc_delivery_concurrency", "How many attempts may call a target at once now.", []string{"target"}, nil),
		prometheus.NewDesc("enbloc_delivery_rung", "The rung that a target is written by, 1 to 6.", []string{"target"}, nil),
		prometheus.NewDesc("enbloc_delivery_stepped_down", "1 while a target refuses the rung it was set to and is written by a lower one.", []string{"target"}, nil)}
}

// Describe implements prometheus.Collector.
func (c *circuits) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{c.desc, c.bound, c.rung, c.stepped} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (c *circuits) Collect(ch chan<- prometheus.Metric) {
	for _, t := range c.service.TargetStates() {
		ch <- prometheus.MustNewConstMetric(c.bound, prometheus.GaugeValue, float64(c.service.engines[t.Name].limiter.bound()), t.Name)
		stepped := 0.0
		if t.Step != nil {
			stepped = 1
		}
		ch <- prometheus.MustNewConstMetric(c.rung, prometheus.GaugeValue, float64(t.Rung.Number), t.Name)
		ch <- prometheus.MustNewConstMetric(c.stepped, prometheus.GaugeValue, stepped, t.Name)
		for _, s := range CircuitStates() {
			value := 0.0
			if t.Circuit == s {
				value = 1
			}
			ch <- prometheus.MustNewConstMetric(c.desc, prometheus.GaugeValue, value, t.Name, string(s))
		}
	}
}
