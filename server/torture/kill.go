package main

import (
	"context"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"enbloc/server/internal/child"
	"enbloc/server/store"
)

// killer kills a replica of the program after drawn numbers of accepted documents,
// and for the second half of the kills at drawn numbers of rows that are still to
// be delivered, so that the whole run stands under kills and not its beginning.
type killer struct {
	fleet  fleet
	dice   *rand.Rand
	victim *rand.Rand
	say    func(string, ...any)
	total  int // documents
	points []int
	late   int // kills after the last document was accepted
	done   int

	mu   sync.Mutex
	seen int
	wake chan struct{}
}

func newKiller(c config, f fleet, cases []*sent) *killer {
	k := &killer{fleet: f, dice: dice(c.Seed, 2), victim: dice(c.Seed, 3), say: c.Say, wake: make(chan struct{}, 1), late: c.Kills / 2}
	for _, s := range cases {
		k.total += len(s.documents)
	}
	for range c.Kills - k.late {
		k.points = append(k.points, k.dice.IntN(max(k.total, 1)))
	}
	slices.Sort(k.points)
	return k
}

// accepted counts a document.
func (k *killer) accepted() {
	k.mu.Lock()
	k.seen++
	k.mu.Unlock()
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

func (k *killer) count() int {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.seen
}

// run kills until all kills are done, and returns when everything was accepted
// and nothing is open any more.
func (k *killer) run(ctx context.Context, feeding <-chan error) error {
	for _, point := range k.points {
		for k.count() < point {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case err := <-feeding:
				if err != nil {
					return err
				}
				feeding = nil // all sent: what is left to do is done below
			case <-k.wake:
			}
		}
		if err := k.killAfter(ctx, 100*time.Millisecond); err != nil {
			return err
		}
	}
	if feeding != nil {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-feeding:
			if err != nil {
				return err
			}
		}
	}
	k.say("all %d documents accepted, killed %d times so far", k.total, k.done)
	return k.drain(ctx)
}

// drain waits until nothing is open, killing on the way: at the first look that
// finds no more rows open than the next point says. Should rows go quicker than
// looks, the rest comes at rest, which must do no harm either.
func (k *killer) drain(ctx context.Context) error {
	said := time.Now()
	var points []int // of rows open, the highest last
	for first := true; ; {
		n, err := k.fleet.Open(ctx)
		if err == nil && first {
			first = false
			for range k.late {
				points = append(points, k.dice.IntN(n+1))
			}
			slices.Sort(points)
		}
		last := len(points) - 1
		switch {
		case err == nil && last >= 0 && n <= points[last]:
			points = points[:last]
			if err := k.killAfter(ctx, 2*time.Second); err != nil {
				return err
			}
			continue
		case err == nil && n == 0:
			return nil
		}
		if time.Since(said) > 30*time.Second {
			k.say("killed %d times, %d rows open", k.done, n)
			said = time.Now()
		}
		if err := child.Pause(ctx, 200*time.Millisecond); err != nil {
			return err
		}
	}
}

// longestAway is longer than the others take to believe that one is dead.
const longestAway = 2 * store.DeathGrace

// killAfter kills a replica at some moment within the time, and starts it anew: at
// once, or every other time, where there are others, after a while in which they
// may take over what it held.
func (k *killer) killAfter(ctx context.Context, within time.Duration) error {
	if err := child.Pause(ctx, time.Duration(k.dice.Int64N(int64(within)))); err != nil {
		return err
	}
	r := k.fleet[k.victim.IntN(len(k.fleet))]
	r.count(ctx)
	r.Kill()
	k.done++
	if len(k.fleet) > 1 && k.done%2 == 0 {
		if err := child.Pause(ctx, time.Duration(k.victim.Int64N(int64(longestAway)))); err != nil {
			return err
		}
	}
	return r.Start(ctx)
}
