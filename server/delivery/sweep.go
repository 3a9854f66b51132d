package delivery

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"enbloc/server/store"
)

// sweepBatch bounds one transaction of the sweep.
const sweepBatch = 200

// sweepForever looks after rows whose job is gone: cleaned up, discarded, or
// lost with the process that ran it. The outbox is the truth, the queue is not.
func (s *Service) sweepForever(ctx context.Context) {
	tick, look := time.NewTicker(s.every), time.NewTicker(lookEvery)
	defer tick.Stop()
	defer look.Stop()
	if s.store.Engine() != store.Postgres {
		look.Stop() // nobody else can have died
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
			if err := s.bury(ctx, time.Now()); err != nil && ctx.Err() == nil {
				s.log.ErrorContext(ctx, "looking for processes that died", "error", err)
			}
		case <-tick.C:
			if err := s.sweep(ctx, false); err != nil && ctx.Err() == nil {
				s.log.ErrorContext(ctx, "sweeping deliveries", "error", err)
			}
		}
	}
}

// wakes says that a job, j, will wake its row by itself in a time that can be true:
// not one in the queue of a target that is not worked here any more.
const wakes = `(j.queue IN (%[7]s) AND (j.state IN ('available', 'pending') OR (j.state IN ('retryable', 'scheduled') AND j.scheduled_at <= '%[6]s')))`

// orphans selects due rows of a tenant that no live job will wake; %[1]d is the time, %[2]d
// a margin earlier, %[4]d further ahead than anything waits: such a time was
// written before the clock was put back, and so was %[6]s, the same for the
// queue's own times. It is the one place that reads the queue's own table: asking
// through its client would be one question per row.
//
// A job that "runs" counts only for a moment: while it works, its row is not due
// but in state sending; when it has run longer than the margin beside a row that
// is due, its process died between the two tables. A row whose claim ran out has
// lost its worker whatever the queue thinks.
const orphans = `SELECT d.id FROM deliveries d
	WHERE d.tenant = %[5]s AND ((d.state IN ('waiting', 'retrying', 'parked') AND (d.state = 'waiting' OR d.next_attempt <= %[1]d OR d.next_attempt > %[4]d)
		AND NOT EXISTS (SELECT 1 FROM river_job j WHERE j.id = d.job_id
			AND (` + wakes + ` OR (j.state = 'running' AND d.next_attempt > %[2]d)))
		AND NOT EXISTS (SELECT 1 FROM deliveries o WHERE o.case_key = d.case_key AND o.target = d.target
			AND o.sequence < d.sequence AND o.state IN ('waiting', 'sending', 'retrying', 'conflict')))
	OR (d.state = 'sending' AND (d.claimed_until < %[1]d OR d.claimed_until > %[4]d)
		AND NOT EXISTS (SELECT 1 FROM river_job j WHERE j.id = d.job_id
			AND ` + wakes + `)))
	ORDER BY d.next_attempt LIMIT %[3]d`

// queueTime is a time that both engines compare with those of the queue: SQLite
// has them as text in this form, Postgres reads it as a timestamp.
const queueTime = "2006-01-02 15:04:05.000+00"

// sweep wakes the orphans, batch by batch.
func (s *Service) sweep(ctx context.Context, atStart bool) error {
	now, margin := s.now(), s.margin
	if atStart && s.store.Engine() == store.SQLite {
		margin = 0 // the only process has just started: nothing runs
	}
	beyond := max(store.LongestWait, 2*(s.attempt+s.margin))
	query := fmt.Sprintf(orphans, now.UnixMicro(), now.Add(-margin).UnixMicro(), sweepBatch, now.Add(beyond).UnixMicro(), s.store.Placeholder(),
		time.Now().Add(beyond).UTC().Format(queueTime), s.queue.listed())
	for {
		woken := 0
		err := s.store.InTx(ctx, func(tx *store.Tx) (err error) {
			woken, err = s.wakeAll(ctx, tx, query, s.tenant)
			return err
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

// wakeAll wakes the rows that a query selects and returns their number.
func (s *Service) wakeAll(ctx context.Context, tx *store.Tx, query string, args ...any) (int, error) {
	ids, err := texts(ctx, tx.SQL(), query, args...)
	for _, id := range ids {
		if err := s.queue.wakeOne(ctx, tx, id); err != nil {
			return 0, err
		}
	}
	return len(ids), err
}

// querier is a pool or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// texts is the one column of a query.
func texts(ctx context.Context, db querier, query string, args ...any) ([]string, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("looking for deliveries without a job: %w", err)
	}
	defer rows.Close()
	var all []string
	for rows.Next() {
		var one string
		if err := rows.Scan(&one); err != nil {
			return nil, fmt.Errorf("reading delivery id: %w", err)
		}
		all = append(all, one)
	}
	return all, rows.Err()
}
