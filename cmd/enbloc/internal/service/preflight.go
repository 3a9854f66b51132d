package service

import (
	"context"
	"encoding/json"
	"errors"
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

// climb gives a target what the preflight found that a person kept last: the rung
// where the configuration leaves it open, and whether references may be left to it.
func climb(ctx context.Context, st *store.Store, t delivery.Target) (delivery.Target, error) {
	kept, _, err := Kept(ctx, st, t.Name)
	if err != nil {
		return t, err
	}
	if t.Rung == 0 && kept.Usable && kept.Rung.Number <= lowest(t) {
		t.Rung, t.FirstWrite = kept.Rung.Number, kept.FirstWrite
	}
	t.LooksUp = kept.LooksUp
	return t, nil
}

// lowest is the last rung of the ladder that a preflight can put a target on. A
// folder has to be named; and what goes to a registry (it alone has a gate) can
// be withdrawn, which a document that is only ever created cannot.
func lowest(t delivery.Target) int {
	if t.Gate != nil {
		return delivery.RungSingle
	}
	return delivery.RungDocument
}

// shelf is where reports stand: the store, or a transaction on it.
type shelf interface {
	Preflight(ctx context.Context, target string) (store.Preflight, error)
	Reading(ctx context.Context, target string, which store.Reading) (store.Preflight, error)
}

// Kept is the report of a target that a person kept last; known is false when
// there is none by which anything can be delivered.
func Kept(ctx context.Context, from shelf, name string) (kept preflight.Report, known bool, err error) {
	p, err := from.Preflight(ctx, name)
	return unpack(p, err)
}

// measure is what a watch holds its readings against: what a person kept, and
// before there is that, the first reading that found the target usable.
func measure(ctx context.Context, from shelf, name string) (m preflight.Report, known bool, err error) {
	if m, known, err = Kept(ctx, from, name); err != nil || known {
		return m, known, err
	}
	p, err := from.Reading(ctx, name, store.FirstReading)
	return unpack(p, err)
}

func unpack(p store.Preflight, err error) (preflight.Report, bool, error) {
	var report preflight.Report
	if fault.Is(err, fault.NotFound) {
		return report, false, nil
	}
	if err == nil {
		err = json.Unmarshal(p.Document, &report)
	}
	if err != nil {
		return report, false, fmt.Errorf("reading a stored preflight: %w", err)
	}
	if !report.Usable { // kept by a former version
		return preflight.Report{}, false, nil
	}
	return report, true, nil
}

func pack(p preflight.Report) (store.Preflight, error) {
	document, err := json.Marshal(p)
	if err != nil {
		return store.Preflight{}, fmt.Errorf("writing preflight: %w", err)
	}
	return store.Preflight{Target: p.Name, Rung: p.Rung.Number, FirstWrite: string(p.FirstWrite), Usable: p.Usable,
		CapabilityHash: p.CapabilityHash, Document: document, Checked: p.Started}, nil
}

// KeepPreflight stores a report because a person said so, and returns it with what
// has changed since the one that was kept before. Only by this does another rung
// come into use.
func KeepPreflight(ctx context.Context, st *store.Store, p preflight.Report) (preflight.Report, error) {
	if !p.Usable {
		return p, errors.New("the report is not kept: by it nothing can be delivered, so it gives no way of writing, and what was kept before stays. " +
			"Mend what fails at the target and run the preflight again")
	}
	err := st.InTx(ctx, func(tx *store.Tx) error {
		before, known, err := Kept(ctx, tx, p.Name)
		if err != nil {
			return err
		}
		kept := p
		kept.Drift = nil // it is accepted
		if known {
			p.Drift, kept = preflight.Drift(before, p), preflight.Accept(before, kept)
		}
		if !kept.Proven {
			if err := stillLearned(ctx, tx, kept); err != nil {
				return err
			}
		}
		row, err := pack(kept)
		if err != nil {
			return err
		}
		return tx.PutPreflight(ctx, row)
	})
	return p, err
}

// stillLearned carries what was learned by writing over a report that has tried
// no writing.
func stillLearned(ctx context.Context, tx *store.Tx, p preflight.Report) error {
	l, err := tx.Learned(ctx, p.Name)
	if err != nil || l.Target == "" || !l.At.Before(p.Started) {
		return err
	}
	l.At = p.Started
	return tx.PutLearned(ctx, l)
}

// keepReading stores what a watch read, beside what was kept, and returns it with
// what differs from its measure.
func keepReading(ctx context.Context, st *store.Store, p preflight.Report) (preflight.Report, error) {
	err := st.InTx(ctx, func(tx *store.Tx) error {
		m, known, err := measure(ctx, tx, p.Name)
		if err != nil {
			return err
		}
		p.Drift = nil
		if known {
			p.Drift = preflight.Drift(m, p)
		}
		row, err := pack(p)
		if err != nil {
			return err
		}
		if !known && p.Usable {
			if err := tx.PutReading(ctx, store.FirstReading, row); err != nil {
				return err
			}
		}
		return tx.PutReading(ctx, store.LastReading, row)
	})
	return p, err
}

// watch repeats the preflight of a target and raises the alarm while it is not as
// it was accepted. It never changes the rung, neither now nor for the next start:
// a server that answers oddly for an hour shall not change how records are written.
type watch struct {
	store  *store.Store
	log    *slog.Logger
	target delivery.Target
	every  time.Duration
	gauges *prometheus.GaugeVec
}

// newWatches watches every server among the targets, registries too.
func newWatches(st *store.Store, log *slog.Logger, targets []delivery.Target, every time.Duration, r prometheus.Registerer) (all []*watch) {
	gauges := prometheus.NewGaugeVec(prometheus.GaugeOpts{Namespace: "enbloc",
		Subsystem: "preflight", Name: "result", Help: "The last check of a target by the service: usable and drift (from what was kept) are 1 or 0, rung is 1 to 6, time is in seconds since 1970."},
		[]string{"target", "what"})
	r.MustRegister(gauges)
	for _, t := range targets {
		if t.Client != nil {
			all = append(all, &watch{store: st, log: log, target: t, every: every, gauges: gauges})
		}
	}
	return all
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
	if p, err = keepReading(ctx, w.store, p); err != nil {
		return err
	}
	set := func(what string, v float64) { w.gauges.WithLabelValues(w.target.Name, what).Set(v) }
	set("rung", float64(p.Rung.Number))
	set("time", float64(p.Started.Unix()))
	set("usable", one(p.Usable))
	set("drift", one(len(p.Drift) > 0))
	level := slog.LevelInfo
	// What was only claimed is no reason to doubt the rung in use.
	if !p.Usable || len(p.Drift) > 0 || p.Proven && p.Rung.Number != w.inUse() {
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
