package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"time"

	"enbloc/server/internal/child"
	"enbloc/server/store"
)

// config is one run.
type config struct {
	Cases, Kills, Senders int
	Faults                float64
	Seed                  uint64
	Store, Binary         string
	// HAPI is the script that starts a HAPI FHIR server; empty: the practice
	// receiver is the target. HAPIKills is how often it is killed.
	HAPI      string
	HAPIKills int
	Patience  time.Duration
	Say       func(format string, args ...any)
}

// key is the identity key of every run; obviously no secret.
var key = []byte("HTEST torture key, no secret 32b")

// run plays everything and returns what the checker found.
func run(ctx context.Context, c config) (verdict, error) {
	playing, cancel := context.WithTimeout(ctx, c.Patience)
	defer cancel()
	folder, err := os.MkdirTemp("", "enbloc-torture-")
	if err != nil {
		return verdict{}, fmt.Errorf("making folder: %w", err)
	}
	defer os.RemoveAll(folder) //nolint:errcheck // scratch
	dsn, drop, err := child.Database(ctx, c.Store, folder)
	if err != nil {
		return verdict{}, err
	}
	defer drop()
	place, err := open(ctx, c, folder)
	if err != nil {
		return verdict{}, err
	}
	defer place.close()
	p, err := child.New(ctx, child.Options{Binary: c.Binary, Folder: folder, Store: dsn, Target: place.base(), Name: "torture", Key: key})
	if err != nil {
		return verdict{}, err
	}
	defer p.Kill()
	cases, err := makeCases(ctx, c.Cases, c.Seed, place)
	if err != nil {
		return verdict{}, err
	}
	began := time.Now()
	v := verdict{Store: c.Store, Seed: c.Seed, Cases: len(cases), FaultShare: c.Faults}
	if err := play(playing, c, p, place, cases, &v); err != nil {
		return v, fmt.Errorf("%w\n%s", err, p.LastWords())
	}
	v.Minutes = time.Since(began).Minutes()
	if err := p.Stop(ctx); err != nil {
		return v, err
	}
	journal, err := place.journal(ctx)
	if err != nil {
		return v, err
	}
	place.count(&v)
	c.Say("checking %d writes of the receiver's journal", len(journal))
	st, err := store.Open(ctx, dsn)
	if err != nil {
		return v, err
	}
	defer st.Close() //nolint:errcheck // only read
	return v, check(ctx, &v, st, journal, p.Version, cases)
}

// play sends, kills and waits until nothing is under way any more.
func play(ctx context.Context, c config, p *child.Program, place hospital, cases []*sent, v *verdict) error {
	if err := p.Start(ctx); err != nil {
		return err
	}
	killer, measured, began := newKiller(c, p, cases), &child.Measure{}, time.Now()
	watching, enough := context.WithCancel(ctx)
	defer enough()
	go measured.Watch(watching, p)
	if err := place.begin(ctx, p); err != nil {
		return err
	}
	feeding := make(chan error, 1)
	go func() { feeding <- feed(ctx, c, p, cases, killer, measured) }()
	if err := killer.run(ctx, feeding); err != nil {
		return err
	}
	v.Kills, v.Figures = killer.done, measured.Figures(len(cases), time.Since(began))
	return nil
}

// dice of a run, one for each purpose, so that they do not disturb each other.
func dice(seed, purpose uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, purpose)) //nolint:gosec // to be repeated, not to be secret
}
