package service

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"enbloc/server/delivery"
	"enbloc/server/fault"
	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/store"
)

// audience is whose data the target may get. Unless it was said, a target serves
// patients; only one that labels its answers as practice is for tests. A target
// that cannot be asked now counts as serving patients.
func (c *Config) audience(ctx context.Context, t delivery.Target) delivery.Audience {
	if c.Serves != "" {
		return delivery.Audience(c.Serves)
	}
	if t.Client == nil {
		return delivery.ForPatients
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	if t.Client.Metadata(ctx).Header.Get(practice.Header) != "" {
		return delivery.ForTests
	}
	return delivery.ForPatients
}

// climb gives a target what its last preflight found: the rung where the
// configuration leaves it open, and whether references may be left to it.
func climb(ctx context.Context, st *store.Store, t delivery.Target) (delivery.Target, error) {
	last, _, err := lastPreflight(ctx, st, t.Name)
	if err != nil {
		return t, err
	}
	if t.Rung == 0 && last.Usable && last.Rung.Number != delivery.RungFile {
		t.Rung, t.FirstWrite = last.Rung.Number, last.FirstWrite
	}
	t.LooksUp = last.LooksUp
	return t, nil
}

// lastPreflight is the last report of a target; known is false before the first.
func lastPreflight(ctx context.Context, st *store.Store, name string) (last preflight.Report, known bool, err error) {
	p, err := st.Preflight(ctx, name)
	if fault.Is(err, fault.NotFound) {
		return last, false, nil
	}
	if err == nil {
		err = json.Unmarshal(p.Document, &last)
	}
	if err != nil {
		return last, false, fmt.Errorf("reading the last preflight: %w", err)
	}
	return last, true, nil
}

// KeepPreflight stores a report as the last one of its target and returns it
// with what has changed since the one before.
func KeepPreflight(ctx context.Context, st *store.Store, p preflight.Report) (preflight.Report, error) {
	before, known, err := lastPreflight(ctx, st, p.Name)
	if err != nil {
		return p, err
	}
	if known {
		p.Drift = preflight.Drift(before, p)
	}
	document, err := json.Marshal(p)
	if err != nil {
		return p, fmt.Errorf("writing preflight: %w", err)
	}
	return p, st.InTx(ctx, func(tx *store.Tx) error {
		return tx.PutPreflight(ctx, store.Preflight{Target: p.Name, Rung: p.Rung.Number, FirstWrite: string(p.FirstWrite), Usable: p.Usable,
			CapabilityHash: p.CapabilityHash, Document: document, Checked: p.Started})
	})
}

// watch repeats the preflight of a target and raises the alarm when it is not as
// it was. The rung in use is not changed while the service runs: a server that
// answers oddly for an hour shall not change how records are written.
type watch struct {
	store  *store.Store
	log    *slog.Logger
	target delivery.Target
	every  time.Duration
	gauges *prometheus.GaugeVec
}

func newWatch(st *store.Store, log *slog.Logger, t delivery.Target, every time.Duration, r prometheus.Registerer) *watch {
	w := &watch{store: st, log: log, target: t, every: every, gauges: prometheus.NewGaugeVec(prometheus.GaugeOpts{Namespace: "enbloc",
		Subsystem: "preflight", Name: "result", Help: "The last preflight of a target: usable and drift are 1 or 0, rung is 1 to 6, time is in seconds since 1970."},
		[]string{"target", "what"})}
	r.MustRegister(w.gauges)
	return w
}

// run checks at once and then at every tick, until ctx ends.
func (w *watch) run(ctx context.Context) {
	tick := time.NewTicker(w.every)
	defer tick.Stop()
	for {
		if err := w.check(ctx); err != nil && ctx.Err() == nil {
			w.log.ErrorContext(ctx, "checking target", "target", w.target.Name, "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

func (w *watch) check(ctx context.Context) error {
	// Whole cases are not tried: the service delivers them all the time.
	p, err := preflight.Run(ctx, preflight.Options{Client: w.target.Client, Name: w.target.Name, Write: w.target.Serves == delivery.ForTests})
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		return ctx.Err() // cut off by a stop: what it saw says nothing
	}
	if p, err = KeepPreflight(ctx, w.store, p); err != nil {
		return err
	}
	set := func(what string, v float64) { w.gauges.WithLabelValues(w.target.Name, what).Set(v) }
	set("rung", float64(p.Rung.Number))
	set("time", float64(p.Started.Unix()))
	set("usable", one(p.Usable))
	set("drift", one(len(p.Drift) > 0))
	level := slog.LevelInfo
	if !p.Usable || len(p.Drift) > 0 || p.Rung.Number != w.inUse() {
		level = slog.LevelWarn
	}
	w.log.Log(ctx, level, "checked target", "target", w.target.Name, "usable", p.Usable, "rung", p.Rung.Number, "rung_in_use", w.inUse(), "drift", len(p.Drift))
	return nil
}

func (w *watch) inUse() int {
	if w.target.Rung == 0 {
		return delivery.RungConditionalCreate
	}
	return w.target.Rung
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
