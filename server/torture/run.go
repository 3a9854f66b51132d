package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

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

const postgresEnv = "ENBLOC_TEST_POSTGRES"

// key is the identity key of every run; obviously no secret.
var key = []byte("HTEST torture key, no secret 32b")

// run plays everything and returns what the checker found.
func run(ctx context.Context, c config) (verdict, error) {
	ctx, cancel := context.WithTimeout(ctx, c.Patience)
	defer cancel()
	folder, err := os.MkdirTemp("", "enbloc-torture-")
	if err != nil {
		return verdict{}, fmt.Errorf("making folder: %w", err)
	}
	defer os.RemoveAll(folder) //nolint:errcheck // scratch
	dsn, drop, err := database(ctx, c.Store, folder)
	if err != nil {
		return verdict{}, err
	}
	defer drop()
	place, err := open(ctx, c, folder)
	if err != nil {
		return verdict{}, err
	}
	defer place.close()
	p, err := newProgram(ctx, c, folder, dsn, place.base())
	if err != nil {
		return verdict{}, err
	}
	defer p.kill()
	cases, err := makeCases(ctx, c.Cases, c.Seed, place)
	if err != nil {
		return verdict{}, err
	}
	began := time.Now()
	v := verdict{Store: c.Store, Seed: c.Seed, Cases: len(cases), FaultShare: c.Faults}
	if err := play(ctx, c, p, place, cases, &v); err != nil {
		return v, fmt.Errorf("%w\n%s", err, p.lastWords())
	}
	v.Minutes = time.Since(began).Minutes()
	if err := p.stop(ctx); err != nil {
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
	return v, check(ctx, &v, st, journal, p.version, cases)
}

// play sends, kills and waits until nothing is under way any more.
func play(ctx context.Context, c config, p *program, place hospital, cases []*sent, v *verdict) error {
	if err := p.start(ctx); err != nil {
		return err
	}
	killer, measured, began := newKiller(c, p, cases), &measure{}, time.Now()
	watching, enough := context.WithCancel(ctx)
	defer enough()
	go measured.watch(watching, p)
	if err := place.begin(ctx, p); err != nil {
		return err
	}
	feeding := make(chan error, 1)
	go func() { feeding <- feed(ctx, c, p, cases, killer, measured) }()
	if err := killer.run(ctx, feeding); err != nil {
		return err
	}
	v.Kills, v.Figures = killer.done, measured.figures(len(cases), time.Since(began))
	return nil
}

// database is a new SQLite file, or a schema of its own on a Postgres.
func database(ctx context.Context, name, folder string) (dsn string, drop func(), err error) {
	if name == "sqlite" {
		return filepath.Join(folder, "enbloc.db"), func() {}, nil
	}
	if name == "postgres" {
		if name = os.Getenv(postgresEnv); name == "" {
			return "", nil, errors.New("--store postgres needs " + postgresEnv + ", the URL of a Postgres for tests")
		}
	}
	admin, err := store.Open(ctx, name)
	if err != nil {
		return "", nil, err
	}
	schema := "torture" + strings.ReplaceAll(uuid.NewString(), "-", "")
	if _, err := admin.DB().ExecContext(ctx, "CREATE SCHEMA "+schema); err != nil {
		return "", nil, errors.Join(fmt.Errorf("making schema: %w", err), admin.Close())
	}
	join := "?"
	if strings.Contains(name, "?") {
		join = "&"
	}
	return name + join + "search_path=" + schema, func() {
		_, _ = admin.DB().ExecContext(context.WithoutCancel(ctx), "DROP SCHEMA "+schema+" CASCADE")
		_ = admin.Close()
	}, nil
}

// dice of a run, one for each purpose, so that they do not disturb each other.
func dice(seed, purpose uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, purpose)) //nolint:gosec // to be repeated, not to be secret
}

// writeKey puts the identity key where the program finds it.
func writeKey(folder string) (string, error) {
	path := filepath.Join(folder, "identity.key")
	return path, os.WriteFile(path, []byte(hex.EncodeToString(key)), 0o600)
}
