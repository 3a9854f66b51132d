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
	name    string            // of the first target's queue, and of rows whose target is gone
	names   map[string]string // by target
	bell    *bell
	done    chan struct{}
	cancel  context.CancelFunc
}

func newQueue(ctx context.Context, s *Service, workers int) (*queue, error) {
	name, bell := queueName(s.tenant), newBell()
	names := queueNames(name, s.targets)
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
	queues := map[string]river.QueueConfig{name: {MaxWorkers: workers + readers(workers)}}
	for _, n := range names {
		queues[n] = queues[name]
	}
	client, err := river.NewClient(driver, &river.Config{
		ID:                          s.worker,
		Queues:                      queues,
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
	return &queue{client: client, service: s, name: name, names: names, bell: bell}, nil
}

// readers is how many rows are worked beside those that may write: they are about
// to, or read back what they wrote.
func readers(workers int) int { return max(1, workers/2) }

// queueName keeps tenants that share a store from working each other's rows.
func queueName(tenant string) string {
	if tenant == "" {
		return river.QueueDefault
	}
	return "tenant-" + short(tenant)
}

// queueNames gives each target a queue, so that ten thousand rows of one that is
// slow do not stand in the way of another's: the first has the tenant's own, each
// further one its own beside it.
func queueNames(base string, targets []string) map[string]string {
	names := make(map[string]string, len(targets))
	for i, t := range targets {
		names[t] = base
		if i > 0 {
			names[t] = base + "-" + short(t)
		}
	}
	return names
}

// short is a name as the queue allows it.
func short(name string) string {
	sum := sha256.Sum256([]byte(name))
	return hex.EncodeToString(sum[:8])
}

// of is the queue of a target's rows.
func (q *queue) of(target string) string {
	if name, ok := q.names[target]; ok {
		return name
	}
	return q.name
}

// listed are the names of all queues that are worked, as SQL; they hold letters,
// digits and hyphens only.
func (q *queue) listed() string {
	all := "'" + q.name + "'"
	for _, name := range q.names {
		if name != q.name {
			all += ", '" + name + "'"
		}
	}
	return all
}

// ownTrouble spaces the attempts of a job that failed inside our own walls (the
// store was not writable); trouble with targets never gets here. The time is
// one for the queue, which goes by the machine's clock.
type ownTrouble struct{}

func (ownTrouble) NextRetry(job *rivertype.JobRow) time.Time {
	return time.Now().Add(backoff(time.Second, time.Minute, max(job.Attempt, 1)))
}

// insertTx adds the job of a row in the row's own transaction.
func (q *queue) insertTx(ctx context.Context, tx *store.Tx, deliveryID, target string) (int64, error) {
	name := q.of(target)
	tx.AfterCommit(func() { q.bell.ring(name) })
	if q.service.store.Engine() != store.Postgres {
		return q.byRiver(ctx, tx, deliveryID, name)
	}
	args := jobArgs{deliveryID}
	body, err := json.Marshal(args)
	if err != nil {
		return 0, fault.Wrap("encoding delivery job", fault.Internal, err)
	}
	return store.LastID, tx.Write(ctx, "inserting delivery job", insertJob, string(body), args.Kind(), jobAttempts, river.PriorityDefault, name)
}

func (q *queue) byRiver(ctx context.Context, tx *store.Tx, deliveryID, name string) (int64, error) {
	res, err := q.client.InsertTx(ctx, tx.SQL(), jobArgs{deliveryID}, &river.InsertOpts{Queue: name})
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
func (q *queue) wakeTx(ctx context.Context, tx *store.Tx, deliveryID, target string) error {
	job, err := q.insertTx(ctx, tx, deliveryID, target)
	if err != nil {
		return err
	}
	return tx.SetJob(ctx, deliveryID, job)
}

// wakeOne is wakeTx for a row of which only the id is known.
func (q *queue) wakeOne(ctx context.Context, tx *store.Tx, deliveryID string) error {
	target := ""
	if len(q.names) > 1 {
		d, err := tx.Delivery(ctx, deliveryID)
		if err != nil {
			return err
		}
		target = d.Target
	}
	return q.wakeTx(ctx, tx, deliveryID, target)
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
