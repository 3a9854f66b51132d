package delivery

import (
	"context"
	"fmt"
	"time"

	"enbloc/server/store"
)

// sweepBatch bounds one transaction of the sweep.
const sweepBatch = 200

// sweepForever looks after rows whose job is gone: cleaned up, discarded, or
// lost with the process that ran it. The outbox is the truth, the queue is not.
func (s *Service) sweepForever(ctx context.Context) {
	tick := time.NewTicker(s.every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			if err := s.sweep(ctx, false); err != nil && ctx.Err() == nil {
				s.log.ErrorContext(ctx, "sweeping deliveries", "error", err)
			}
		}
	}
}

// orphans selects due rows that no live job will wake; %[1]d is the time, %[2]d
// a margin earlier, %[4]d further ahead than anything waits: such a time was
// written before the clock was put back. It is the one place that reads the queue's own table: asking
// through its client would be one question per row.
//
// A job that "runs" counts only for a moment: while it works, its row is not due
// but in state sending; when it has run longer than the margin beside a row that
// is due, its process died between the two tables. A row whose claim ran out has
// lost its worker whatever the queue thinks.
const orphans = `SELECT d.id FROM deliveries d
	WHERE (d.state IN ('waiting', 'retrying', 'parked') AND (d.state = 'waiting' OR d.next_attempt <= %[1]d OR d.next_attempt > %[4]d)
		AND NOT EXISTS (SELECT 1 FROM river_job j WHERE j.id = d.job_id
			AND (j.state IN ('available', 'pending', 'retryable', 'scheduled') OR (j.state = 'running' AND d.next_attempt > %[2]d)))
		AND NOT EXISTS (SELECT 1 FROM deliveries o WHERE o.case_key = d.case_key AND o.target = d.target
			AND o.sequence < d.sequence AND o.state IN ('waiting', 'sending', 'retrying', 'conflict')))
	OR (d.state = 'sending' AND (d.claimed_until < %[1]d OR d.claimed_until > %[4]d)
		AND NOT EXISTS (SELECT 1 FROM river_job j WHERE j.id = d.job_id AND j.state IN ('available', 'pending', 'retryable', 'scheduled')))
	ORDER BY d.next_attempt LIMIT %[3]d`

// sweep wakes the orphans, batch by batch.
func (s *Service) sweep(ctx context.Context, atStart bool) error {
	now, margin := s.now(), s.margin
	if atStart && s.store.Engine() == store.SQLite {
		margin = 0 // the only process has just started: nothing runs
	}
	query := fmt.Sprintf(orphans, now.UnixMicro(), now.Add(-margin).UnixMicro(), sweepBatch,
		now.Add(max(store.LongestWait, 2*(s.attempt+s.margin))).UnixMicro())
	for {
		woken := 0
		err := s.store.InTx(ctx, func(tx *store.Tx) error {
			ids, err := orphanIDs(ctx, tx, query)
			if err != nil {
				return err
			}
			for _, id := range ids {
				if err := s.queue.wakeTx(ctx, tx, id); err != nil {
					return err
				}
			}
			woken = len(ids)
			return nil
		})
		if err != nil {
			return err
		}
		if woken > 0 {
			s.log.InfoContext(ctx, "woke deliveries without a job", "rows", woken)
		}
		if woken < sweepBatch {
			return nil
		}
	}
}

func orphanIDs(ctx context.Context, tx *store.Tx, query string) ([]string, error) {
	rows, err := tx.SQL().QueryContext(ctx, query)
	if err != nil {
		return nil, fmt.Errorf("looking for deliveries without a job: %w", err)
	}
	defer rows.Close()
	var ids []string
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, fmt.Errorf("reading delivery id: %w", err)
		}
		ids = append(ids, id)
	}
	return ids, rows.Err()
}
