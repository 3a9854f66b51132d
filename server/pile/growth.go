package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"enbloc/server/internal/child"
	"enbloc/server/store"
)

// growth is what it costs that cases have piled up.
type growth struct {
	Store       string  `json:"store"`
	PileMinutes float64 `json:"pile_minutes"`
	Few         side    `json:"few"`
	Many        side    `json:"many"`
	// The ratios are those of the medians of all rounds, many to few.
	AcceptP99 float64 `json:"accept_p99_ratio"`
	AcceptP50 float64 `json:"accept_p50_ratio"`
	Delivered float64 `json:"delivered_per_second_ratio"`
	Started   float64 `json:"start_ratio"`
}

// String says it in a line.
func (g growth) String() string {
	return fmt.Sprintf("%s, %d cases (%d MB) against %d: accept p99 %.2f times, p50 %.2f times, delivered per second %.2f times, start %.2f times",
		g.Store, g.Many.Cases, g.Many.MB, g.Few.Cases, g.AcceptP99, g.AcceptP50, g.Delivered, g.Started)
}

// side is one of the two stores, round by round.
type side struct {
	// Cases stand in it before the first round, MB is how large it is then.
	Cases     int       `json:"cases"`
	MB        int       `json:"mb"`
	AcceptP50 []float64 `json:"accept_p50_ms"`
	AcceptP99 []float64 `json:"accept_p99_ms"`
	Delivered []float64 `json:"delivered_per_second"`
	// Started is milliseconds from the start of the program until it is ready.
	Started []float64 `json:"start_ms"`

	program *child.Program
	dsn     string
}

// all have their parts in a round: every sort of document is to be accepted.
func all(uint64) bool { return true }

// grow compares a store with few cases and one with many, by turns.
func grow(ctx context.Context, c config) (growth, error) {
	g := growth{Store: c.Store}
	l, err := openLab(ctx, c)
	if err != nil {
		return g, err
	}
	defer l.close()
	if err := l.fill(ctx, &g.Few, "few", c.Few); err != nil {
		return g, err
	}
	if err := l.fill(ctx, &g.Many, "many", c.Few); err != nil {
		return g, err
	}
	began := time.Now()
	if err := multiply(ctx, g.Many.dsn, c.Cases, l.say); err != nil {
		return g, err
	}
	g.PileMinutes = time.Since(began).Minutes()
	for _, s := range []*side{&g.Few, &g.Many} {
		if err := s.weigh(ctx); err != nil {
			return g, err
		}
	}
	for round := range c.Rounds {
		for _, s := range []*side{&g.Few, &g.Many} {
			if err := l.round(ctx, s, c.Each); err != nil {
				return g, err
			}
			l.say("round %d of %d with %d cases: accept p50 %.1f ms, p99 %.1f ms, %.1f delivered/s, started in %.0f ms", round+1, c.Rounds, s.Cases,
				s.AcceptP50[round], s.AcceptP99[round], s.Delivered[round], s.Started[round])
		}
	}
	for _, s := range []side{g.Few, g.Many} {
		if err := delivered(ctx, s.dsn); err != nil {
			return g, err
		}
	}
	ratio := func(of func(side) []float64) float64 { return median(of(g.Many)) / median(of(g.Few)) }
	g.AcceptP99 = ratio(func(s side) []float64 { return s.AcceptP99 })
	g.AcceptP50 = ratio(func(s side) []float64 { return s.AcceptP50 })
	g.Delivered = ratio(func(s side) []float64 { return s.Delivered })
	g.Started = ratio(func(s side) []float64 { return s.Started })
	return g, nil
}

// fill makes a database with real cases, accepted and delivered by the program.
func (l *lab) fill(ctx context.Context, s *side, name string, cases int) (err error) {
	if s.program, s.dsn, err = l.program(ctx, name); err != nil {
		return err
	}
	if err := s.program.Start(ctx); err != nil {
		return err
	}
	defer s.program.Kill()
	if err := l.supply.feed(ctx, s.program, load{cases: cases, parts: all}, &child.Measure{}); err != nil {
		return l.explain(err, s.program)
	}
	return l.settle(ctx, s.program)
}

// weigh counts the cases of a store, and how large it is.
func (s *side) weigh(ctx context.Context) error {
	st, err := store.Open(ctx, s.dsn)
	if err != nil {
		return err
	}
	defer st.Close() //nolint:errcheck // only read
	size := `SELECT (page_count * page_size) / 1000000 FROM pragma_page_count(), pragma_page_size()`
	if st.Engine() == store.Postgres {
		size = `SELECT coalesce(sum(pg_total_relation_size(oid)), 0)::bigint / 1000000 FROM pg_class WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace`
	}
	for query, into := range map[string]*int{`SELECT count(*) FROM cases`: &s.Cases, size: &s.MB} {
		if err := st.DB().QueryRowContext(ctx, query).Scan(into); err != nil {
			return fmt.Errorf("weighing the store: %w", err)
		}
	}
	return nil
}

// round starts the program on a store, sends it cases, and stops it when all of
// them are delivered.
func (l *lab) round(ctx context.Context, s *side, cases int) error {
	began := time.Now()
	if err := s.program.Start(ctx); err != nil {
		return err
	}
	defer s.program.Kill()
	s.Started = append(s.Started, float64(time.Since(began).Microseconds())/1000)
	m := &child.Measure{}
	began = time.Now()
	if err := l.supply.feed(ctx, s.program, load{cases: cases, parts: all}, m); err != nil {
		return l.explain(err, s.program)
	}
	f := m.Figures(m.Documents(), time.Since(began))
	s.AcceptP50, s.AcceptP99 = append(s.AcceptP50, f.AcceptP50), append(s.AcceptP99, f.AcceptP99)
	s.Delivered = append(s.Delivered, f.CasesPerSecond)
	return l.settle(ctx, s.program)
}

// median is that of at least one number.
func median(of []float64) float64 {
	sorted := slices.Sorted(slices.Values(of))
	return sorted[len(sorted)/2]
}
