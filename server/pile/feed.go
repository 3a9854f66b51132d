package main

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"enbloc/mapping/sample"
	"enbloc/server/internal/child"
)

const (
	// clients send side by side.
	clients = 8
	again   = 50 * time.Millisecond
	// patience is how long a machine may stand still before a run is given up: a
	// long one meets that now and then.
	patience = 5 * time.Minute
)

// load is how a number of cases is sent.
type load struct {
	cases int
	// parts says which of them have parts, that come later.
	parts func(n uint64) bool
	// mostOpen is how many deliveries may be open before senders wait; 0 is any
	// number.
	mostOpen int64
}

// supply hands out cases, each once, under numbers that are as good as random.
type supply struct{ given atomic.Uint64 }

// scatter spreads numbers over all 64 bits: it is odd, so no two meet.
const scatter = 0x9e3779b97f4a7c15

// next makes the documents of the next case: its report, and those that came
// later when it is to have them and may.
func (s *supply) next(parts func(n uint64) bool) ([]child.Document, error) {
	n := s.given.Add(1)
	c := sample.Make(n * scatter)
	first, err := child.NewDocument("/cases", c.Report)
	if err != nil || !parts(n) || !child.HasParts(c) {
		return []child.Document{first}, err
	}
	later, err := child.Parts(c)
	return append([]child.Document{first}, later...), err
}

// feed sends so many cases, each by one client in its order, and returns when
// every one is accepted and delivered.
func (s *supply) feed(ctx context.Context, p *child.Program, l load, m *child.Measure) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	b := &backlog{program: p, most: l.mostOpen}
	var watched, sent sync.WaitGroup
	watching, enough := context.WithCancel(ctx)
	watched.Go(func() { b.watch(watching, cancel) })
	var begun atomic.Int64
	for range clients {
		sent.Go(func() {
			for begun.Add(1) <= int64(l.cases) {
				documents, err := s.next(l.parts)
				for _, d := range documents {
					if err == nil {
						err = b.allow(ctx)
					}
					if err == nil {
						err = send(ctx, p, d, m)
					}
				}
				if err != nil {
					cancel(err)
					return
				}
			}
		})
	}
	sent.Wait()
	enough()
	watched.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return b.drain(ctx)
}

// send sends a document until it is accepted, the same again after a broken
// connection, and notes how long that took.
func send(ctx context.Context, p *child.Program, d child.Document, m *child.Measure) error {
	began, key := time.Now(), uuid.NewString()
	for {
		status, body, err := p.Ask(ctx, http.MethodPost, d.Path, d.Body, "Idempotency-Key", key)
		switch {
		case err != nil && time.Since(began) > patience:
			return err
		case err != nil: // again
		case status == http.StatusAccepted:
			m.Accepted(time.Since(began))
			return nil
		case status < http.StatusInternalServerError && status != http.StatusConflict && status != http.StatusTooManyRequests || time.Since(began) > patience:
			return fmt.Errorf("sending a document to %s: answered %d: %s", d.Path, status, body)
		}
		if err := child.Pause(ctx, again); err != nil {
			return err
		}
	}
}

// backlog is how many deliveries are open, as the program said last.
type backlog struct {
	program *child.Program
	most    int64
	open    atomic.Int64
}

// watch asks again and again, and fails when there was no answer for too long.
func (b *backlog) watch(ctx context.Context, fail context.CancelCauseFunc) {
	for child.Pause(ctx, 4*again) == nil {
		n, err := b.ask(ctx)
		if err != nil && ctx.Err() == nil {
			fail(err)
			return
		}
		b.open.Store(int64(n))
	}
}

// ask is patient with a program that does not answer.
func (b *backlog) ask(ctx context.Context) (int, error) {
	for began := time.Now(); ; {
		n, err := b.program.Open(ctx)
		if err == nil || time.Since(began) > patience {
			return n, err
		}
		if err := child.Pause(ctx, again); err != nil {
			return 0, err
		}
	}
}

// allow waits while too many are open.
func (b *backlog) allow(ctx context.Context) error {
	for b.most > 0 && b.open.Load() > b.most {
		if err := child.Pause(ctx, again); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// drain waits until none is open.
func (b *backlog) drain(ctx context.Context) error {
	for {
		n, err := b.ask(ctx)
		if err != nil || n == 0 {
			return err
		}
		if err := child.Pause(ctx, again); err != nil {
			return err
		}
	}
}
