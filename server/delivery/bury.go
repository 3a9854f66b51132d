package delivery

import (
	"context"
	"maps"
	"slices"
	"time"

	"enbloc/server/store"
)

// lookEvery is how often processes that share the outbox are looked after.
const lookEvery = 2 * time.Second

// A process that was killed leaves rows that it was sending, and jobs that it
// had fetched and not begun. Both would come free by themselves, when the claim
// runs out and when the sweep stops believing in the job; but what a killed
// process has done is in doubt, and a doubt is better settled soon.

// fetchers are the workers that jobs run at, by the queue.
const fetchers = `SELECT DISTINCT attempted_by[array_upper(attempted_by, 1)] FROM river_job
	WHERE state = 'running' AND attempted_by[array_upper(attempted_by, 1)] IS NOT NULL`

// left are the rows of jobs that a worker who is gone had fetched.
const left = `SELECT d.id FROM river_job j JOIN deliveries d ON d.id = j.args->>'delivery_id'
	WHERE j.state = 'running' AND j.attempted_by[array_upper(j.attempted_by, 1)] = $1
	AND d.state IN ('waiting', 'retrying', 'parked') AND d.job_id = j.id AND d.tenant = $2`

// grave is a worker without a sign of life.
type grave struct {
	since  time.Time
	closed bool // what it held is free
}

// bury frees what workers hold that have been without a sign of life for longer
// than a living one can be. It is called by one goroutine only.
func (s *Service) bury(ctx context.Context, now time.Time) error {
	if s.presence.Life().Err() != nil {
		s.log.WarnContext(ctx, "this process cannot show the database that it lives; its deliveries pause, and others may take them over", "worker", s.worker)
	}
	workers, err := s.store.Holders(ctx)
	if err != nil {
		return err
	}
	running, err := texts(ctx, s.store.DB(), fetchers)
	if err != nil {
		return err
	}
	workers = append(workers, running...)
	slices.Sort(workers)
	unlocked, err := s.store.Unlocked(ctx, slices.Compact(workers))
	if err != nil {
		return err
	}
	maps.DeleteFunc(s.graves, func(w string, _ *grave) bool { return !slices.Contains(unlocked, w) })
	for _, w := range unlocked {
		g := s.graves[w]
		if g == nil {
			g = &grave{since: now}
			s.graves[w] = g
		}
		if g.closed || now.Sub(g.since) < store.DeathGrace || w == s.worker {
			continue
		}
		if err := s.buryOne(ctx, w); err != nil {
			return err
		}
		g.closed = true
	}
	return nil
}

func (s *Service) buryOne(ctx context.Context, worker string) error {
	var interrupted, woken int
	err := s.store.InTx(ctx, func(tx *store.Tx) error {
		freed, err := tx.Release(ctx, s.tenant, worker, s.now())
		for _, id := range freed {
			if err := s.queue.wakeOne(ctx, tx, id); err != nil {
				return err
			}
		}
		if err != nil {
			return err
		}
		interrupted = len(freed)
		woken, err = s.wakeAll(ctx, tx, left, worker, s.tenant)
		return err
	})
	if err == nil && interrupted+woken > 0 {
		s.log.WarnContext(ctx, "a process died; its deliveries go on", "worker", worker, "interrupted", interrupted, "woken", woken)
	}
	return err
}
