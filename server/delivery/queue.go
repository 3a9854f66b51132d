package delivery

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"enbloc/server/fault"
	"enbloc/server/store"
)

// The queue wakes workers; it decides nothing. One job per outbox row, with the
// row's id and nothing else in it. There is no unique "wake up" job per case:
// the queue skips such an insert while the former job runs or has completed,
// and a skipped insert is a lost wake-up.
const (
	// Measured: 7 ms between fetches gives 6 times the default's throughput; less
	// gives no more, as each fetch then finds fewer jobs.
	fetchCooldown = 7 * time.Millisecond
	// jobAttempts is out of reach: the age of a row ends the trying, not the
	// number of the queue's own attempts.
	jobAttempts = 10_000
	// finishedKept is how long finished jobs stay; the outbox has the history.
	finishedKept = time.Hour
)

// jobArgs is all that the queue's table holds about a delivery.
type jobArgs struct {
	DeliveryID string `json:"delivery_id"`
}

// Kind is the queue's name for this sort of job.
func (jobArgs) Kind() string { return "deliver" }

// queue hides the queueing library from the rest of the package.
type queue struct {
	client  *river.Client[*sql.Tx]
	service *Service
	name    string
	bell    *bell
	done    chan struct{}
	cancel  context.CancelFunc
}

func newQueue(ctx context.Context, s *Service, workers int) (*queue, error) {
	name := queueName(s.tenant)
	bell, err := newBell(name)
	if err != nil {
		return nil, fmt.Errorf("making bell of queue: %w", err)
	}
	driver := belled{riversqlite.New(s.store.DB()), bell}
	if s.store.Engine() == store.Postgres {
		driver = belled{riverdatabasesql.New(s.store.DB()), bell}
	}
	migrator, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: quiet(s.log)})
	if err != nil {
		return nil, fmt.Errorf("preparing queue tables: %w", err)
	}
	if _, err := migrator.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return nil, fmt.Errorf("migrating queue tables: %w", err)
	}
	registry := river.NewWorkers()
	river.AddWorker(registry, &worker{service: s})
	client, err := river.NewClient(driver, &river.Config{
		ID:                          s.worker,
		Queues:                      map[string]river.QueueConfig{name: {MaxWorkers: workers + readers(workers)}},
		Workers:                     registry,
		Logger:                      quiet(s.log),
		FetchCooldown:               fetchCooldown,
		FetchPollInterval:           s.poll,
		JobTimeout:                  s.attempt + s.margin,
		RescueStuckJobsAfter:        s.attempt + 2*s.margin,
		MaxAttempts:                 jobAttempts,
		CompletedJobRetentionPeriod: finishedKept,
		RetryPolicy:                 ownTrouble{},
	})
	if err != nil {
		return nil, fmt.Errorf("making queue: %w", err)
	}
	return &queue{client: client, service: s, name: name, bell: bell}, nil
}

// readers is how many rows are worked beside those that may write: they are about
// to, or read back what they wrote.
func readers(workers int) int { return max(1, workers/2) }

// queueName keeps tenants that share a store from working each other's rows.
func queueName(tenant string) string {
	if tenant == "" {
		return river.QueueDefault
	}
	sum := sha256.Sum256([]byte(tenant))
	return "tenant-" + hex.EncodeToString(sum[:8])
}

// ownTrouble spaces the attempts of a job that failed inside our own walls (the
// store was not writable); trouble with targets never gets here. The time is
// one for the queue, which goes by the machine's clock.
type ownTrouble struct{}

func (ownTrouble) NextRetry(job *rivertype.JobRow) time.Time {
	return time.Now().Add(backoff(time.Second, time.Minute, max(job.Attempt, 1)))
}

// insertTx adds the job of a row in the row's own transaction.
func (q *queue) insertTx(ctx context.Context, tx *store.Tx, deliveryID string) (int64, error) {
	tx.AfterCommit(q.bell.ring)
	if q.service.store.Engine() != store.Postgres {
		return q.byRiver(ctx, tx, deliveryID)
	}
	args := jobArgs{deliveryID}
	body, err := json.Marshal(args)
	if err != nil {
		return 0, fault.Wrap("encoding delivery job", fault.Internal, err)
	}
	return store.LastID, tx.Write(ctx, "inserting delivery job", insertJob, string(body), args.Kind(), jobAttempts, river.PriorityDefault, q.name)
}

func (q *queue) byRiver(ctx context.Context, tx *store.Tx, deliveryID string) (int64, error) {
	res, err := q.client.InsertTx(ctx, tx.SQL(), jobArgs{deliveryID}, &river.InsertOpts{Queue: q.name})
	if err != nil {
		return 0, fault.Wrap("inserting delivery job", fault.Unavailable, err)
	}
	return res.Job.ID, nil
}

// insertJob makes the row that River makes, and a test compares the two: River
// sends it alone and reads it back, which on Postgres costs as much as half of
// all that accepting a report writes. So it goes with those writes.
const insertJob = `INSERT INTO river_job (args, kind, max_attempts, metadata, priority, queue, state, tags, created_at, scheduled_at)
	VALUES (?, ?, ?, '{}', ?, ?, 'available', '{}', now(), now())`

// wakeTx adds a further job for a row and notes it there.
func (q *queue) wakeTx(ctx context.Context, tx *store.Tx, deliveryID string) error {
	job, err := q.insertTx(ctx, tx, deliveryID)
	if err != nil {
		return err
	}
	return tx.SetJob(ctx, deliveryID, job)
}

func (q *queue) start(ctx context.Context) error {
	// The work must outlive the context of the one who started it; Stop ends it.
	ctx, q.cancel = context.WithCancel(context.WithoutCancel(ctx))
	if err := q.service.sweep(ctx, true); err != nil {
		return err
	}
	if err := q.client.Start(ctx); err != nil {
		return fmt.Errorf("starting queue: %w", err)
	}
	q.done = make(chan struct{})
	go func() {
		defer close(q.done)
		q.service.sweepForever(ctx)
	}()
	return nil
}

func (q *queue) stop(ctx context.Context) error {
	if q.done == nil {
		return nil
	}
	err := q.client.Stop(ctx)
	if err != nil && ctx.Err() != nil {
		// Out of patience: cancel what runs, and give it time to say so.
		hard, cancel := context.WithTimeout(context.WithoutCancel(ctx), q.service.margin)
		defer cancel()
		err = q.client.StopAndCancel(hard)
	}
	q.cancel()
	<-q.done
	if err != nil && !errors.Is(err, context.Canceled) {
		return fmt.Errorf("stopping queue: %w", err)
	}
	return nil
}
