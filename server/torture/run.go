package main

import (
	"context"
	"errors"
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
	// Replicas is how many processes of the program share the store; 0 means 1.
	Replicas int
	// Rung is how the target is written; 0: as the program chooses.
	Rung          int
	Faults        float64
	Seed          uint64
	Store, Binary string
	// HAPI is the script that starts a HAPI FHIR server; empty: the practice
	// receiver is the target. HAPIKills is how often it is killed.
	HAPI      string
	HAPIKills int
	Patience  time.Duration
	Say       func(format string, args ...any)
}

// key is the identity key of every run; obviously no secret.
var key = []byte("HTEST torture key, no secret 32b")

// check refuses what cannot be played.
func (c config) check() error {
	if c.Replicas > 1 && c.Store == "sqlite" {
		return errors.New("replicas need a Postgres: a SQLite file belongs to one process")
	}
	if _, ok := shapes[c.Rung]; c.Rung != 0 && !ok {
		return fmt.Errorf("rung %d makes no resources that could be held against the states", c.Rung)
	}
	return nil
}

// run plays everything and returns what the checker found.
func run(ctx context.Context, c config) (verdict, error) {
	c.Replicas = max(c.Replicas, 1)
	if err := c.check(); err != nil {
		return verdict{}, err
	}
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
	f, err := newFleet(ctx, c.Replicas, child.Options{Binary: c.Binary, Folder: folder, Store: dsn, Target: place.base(), Name: "torture", Key: key, Rung: c.Rung})
	if err != nil {
		return verdict{}, err
	}
	defer f.kill()
	cases, err := makeCases(ctx, c.Cases, c.Seed, place)
	if err != nil {
		return verdict{}, err
	}
	began := time.Now()
	v := verdict{Store: c.Store, Seed: c.Seed, Cases: len(cases), FaultShare: c.Faults, Rung: c.Rung}
	if err := play(playing, c, f, place, cases, &v); err != nil {
		return v, fmt.Errorf("%w\n%s", err, f.lastWords())
	}
	v.Minutes = time.Since(began).Minutes()
	if err := f.stop(ctx); err != nil {
		return v, err
	}
	for _, r := range f {
		v.Replicas = append(v.Replicas, share{int(r.accepted.Load()), r.delivered})
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
	return v, check(ctx, &v, st, journal, f[0].Version, cases)
}

// play sends, kills and waits until nothing is under way any more.
func play(ctx context.Context, c config, f fleet, place hospital, cases []*sent, v *verdict) error {
	if err := f.start(ctx); err != nil {
		return err
	}
	killer, measured, began := newKiller(c, f, cases), &child.Measure{}, time.Now()
	watching, enough := context.WithCancel(ctx)
	defer enough()
	go measured.Watch(watching, f)
	if err := place.begin(ctx, f); err != nil {
		return err
	}
	feeding := make(chan error, 1)
	go func() { feeding <- feed(ctx, c, f, cases, killer, measured) }()
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
