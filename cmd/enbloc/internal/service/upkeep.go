package service

import (
	"context"
	"log/slog"
	"time"

	"enbloc/server/store"
)

// upkeep empties what nothing needs any more of cases that have been closed for
// longer than the retention time.
type upkeep struct {
	store *store.Store
	log   *slog.Logger
	days  int
	now   func() time.Time
}

const (
	upkeepEvery = time.Hour
	// upkeepBatch bounds one transaction: on SQLite an accept waits meanwhile.
	upkeepBatch = 20
)

// run thins at once and then every hour, until ctx ends.
func (u upkeep) run(ctx context.Context) {
	tick := time.NewTicker(upkeepEvery)
	defer tick.Stop()
	for {
		n, err := u.thin(ctx)
		switch {
		case err != nil && ctx.Err() == nil:
			u.log.ErrorContext(ctx, "thinning old cases", "error", err)
		case n > 0:
			u.log.InfoContext(ctx, "thinned old cases", "cases", n)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// thin works batch by batch until nothing is left, and returns how many cases
// it thinned.
func (u upkeep) thin(ctx context.Context) (int, error) {
	before := u.now().AddDate(0, 0, -u.days)
	for total := 0; ; {
		n := 0
		err := u.store.InTx(ctx, func(tx *store.Tx) (err error) {
			n, err = tx.Thin(ctx, before, upkeepBatch)
			return err
		})
		if total += n; err != nil || n < upkeepBatch {
			return total, err
		}
	}
}
