package delivery

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strconv"
	"sync"
	"time"

	"github.com/google/uuid"

	"enbloc/server/fault"
	"enbloc/server/store"
)

const (
	defaultWorkers = 8
	defaultBudget  = 72 * time.Hour
	defaultAttempt = 150 * time.Second
	defaultMargin  = 30 * time.Second
	defaultSweep   = time.Minute
	defaultPoll    = 100 * time.Millisecond
)

// Service works the outbox. Make it with New, give it work with EnqueueTx, run
// it between Start and Stop.
type Service struct {
	store   *store.Store
	engines map[string]*Engine
	targets []string
	render  Renderer
	log     *slog.Logger
	metrics *metrics
	queue   *queue
	// worker names this process in claims; presence shows that it lives.
	worker   string
	presence *store.Presence
	tenant   string
	graves   map[string]*grave
	seats    *seats

	budget  time.Duration
	working sync.Map // ids of the rows that this process works on
	attempt time.Duration
	margin  time.Duration
	every   time.Duration // between sweeps
	poll    time.Duration // between looks into the queue
	backoff func(attempt int) time.Duration
	longest time.Duration // between attempts; 0: as each kind of wait has it
	now     func() time.Time
	// steady measures how long things take and how long a target rests. A clock
	// that is put forward or back must not make an attempt last a day.
	steady func() time.Time
}

// New checks the options, creates the queue's tables and returns a service
// that accepts work but does none until Start.
func New(ctx context.Context, o Options) (*Service, error) {
	if o.Store == nil || o.Render == nil {
		return nil, errors.New("checking delivery options: store and renderer are required")
	}
	s := &Service{store: o.Store, tenant: o.Tenant, render: o.Render, log: o.Logger, engines: map[string]*Engine{},
		worker: workerName(), graves: map[string]*grave{}, seats: newSeats(o.Busy),
		budget: o.Budget, attempt: o.AttemptTimeout, margin: o.Margin, every: o.Sweep, poll: o.Poll, backoff: o.Backoff, longest: o.LongestWait, now: o.Clock, steady: time.Now}
	s.defaults()
	if o.Workers <= 0 {
		o.Workers = defaultWorkers
	}
	for _, t := range o.Targets {
		reachable := t.Client != nil || (t.Rung == RungFile && t.Folder != "")
		if t.Name == "" || !reachable || s.engines[t.Name] != nil {
			return nil, fmt.Errorf("checking delivery target %q: it needs a name of its own and a client, or a folder", t.Name)
		}
		s.engines[t.Name] = NewEngine(t, EngineOptions{Ledger: storeLedger{o.Store, s.now}, Void: o.Void, Clock: s.now})
		s.engines[t.Name].limiter = newLimiter(o.Workers)
		s.engines[t.Name].circuit.longest = o.LongestWait
		s.targets = append(s.targets, t.Name)
		if err := s.recall(ctx, s.engines[t.Name]); err != nil {
			return nil, err
		}
	}
	s.metrics = newMetrics(s.targets, o.Store, s.now)
	s.metrics.circuits = newCircuits(s)
	if o.Registerer != nil {
		if err := s.metrics.register(o.Registerer); err != nil {
			return nil, fmt.Errorf("registering delivery metrics: %w", err)
		}
	}
	var err error
	s.queue, err = newQueue(ctx, s, o.Workers)
	return s, err
}

// workerName is unique for ever. The queue allows 100 characters.
func workerName() string {
	host, _ := os.Hostname() // for people only
	return host[:min(len(host), 40)] + "/" + strconv.Itoa(os.Getpid()) + "/" + uuid.NewString()
}

func (s *Service) defaults() {
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.budget <= 0 {
		s.budget = defaultBudget
	}
	if s.attempt <= 0 {
		s.attempt = defaultAttempt
	}
	if s.margin <= 0 {
		s.margin = defaultMargin
	}
	if s.every <= 0 {
		s.every = defaultSweep
	}
	if s.poll <= 0 {
		s.poll = defaultPoll
	}
	if s.now == nil {
		s.now = time.Now
	}
}

// Targets are the names of the targets, in the order of the options.
func (s *Service) Targets() []string { return s.targets }

// EnqueueTx puts a state of a case into the outbox for every target, in the
// transaction that accepts the state: both are there together or not at all.
func (s *Service) EnqueueTx(ctx context.Context, tx *store.Tx, caseKey string, sequence int) error {
	now := s.now()
	for _, target := range s.targets {
		id, err := uuid.NewV7()
		if err != nil {
			return fault.Wrap("making delivery id", fault.Internal, err)
		}
		job, err := s.queue.insertTx(ctx, tx, id.String(), target)
		if err != nil {
			return err
		}
		d := store.Delivery{ID: id.String(), CaseKey: caseKey, Tenant: s.tenant, Sequence: sequence, Target: target, JobID: job, Created: now}
		if err := tx.AddDelivery(ctx, d); err != nil {
			return err
		}
	}
	return nil
}

// Start begins to work the outbox. On SQLite, which one process has to itself,
// rows that a former process held are taken back at once; on Postgres when their
// holder has shown no sign of life for a while, as it may be alive.
func (s *Service) Start(ctx context.Context) error {
	if s.store.Engine() == store.SQLite {
		err := s.store.InTx(ctx, func(tx *store.Tx) error {
			n, err := tx.ReleaseAll(ctx, s.now())
			if n > 0 {
				s.log.InfoContext(ctx, "took back interrupted deliveries", "rows", n)
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	var err error
	if s.presence, err = s.store.Appear(ctx, s.worker); err != nil {
		return err
	}
	return s.queue.start(ctx)
}

// Stop ends the work. Attempts that run get until ctx ends; then they are
// cancelled, and what they left behind is read before it is sent again.
func (s *Service) Stop(ctx context.Context) error {
	err := s.queue.stop(ctx)
	if s.presence != nil {
		s.presence.Leave()
	}
	return err
}

// Resend makes a parked, conflicting, dead or retrying row due at once. Before
// anything is sent the target is read, as nobody knows what happened there in
// the meantime.
func (s *Service) Resend(ctx context.Context, deliveryID string) error {
	return s.store.InTx(ctx, func(tx *store.Tx) error {
		if err := tx.Reopen(ctx, deliveryID, s.now()); err != nil {
			return err
		}
		return s.queue.wakeOne(ctx, tx, deliveryID)
	})
}

// Skip closes a row unsent and lets the next state of its case go on.
func (s *Service) Skip(ctx context.Context, deliveryID string) error {
	return s.store.InTx(ctx, func(tx *store.Tx) error {
		if err := tx.Skip(ctx, deliveryID, s.now()); err != nil {
			return err
		}
		d, err := tx.Delivery(ctx, deliveryID)
		if err != nil {
			return err
		}
		next, err := nextOpen(ctx, tx, d)
		if err != nil {
			return err
		}
		return s.wakeNext(ctx, tx, next)
	})
}

// wakeNext wakes the next open row of a case, if there is one, in the transaction
// that settles the one before it: a wake-up can be one too many, but never be lost.
func (s *Service) wakeNext(ctx context.Context, tx *store.Tx, next store.Delivery) error {
	if next.ID == "" {
		return nil
	}
	return s.queue.wakeTx(ctx, tx, next.ID, next.Target)
}

// nextOpen is the next open row of a case, zero where there is none.
func nextOpen(ctx context.Context, tx *store.Tx, settled store.Delivery) (store.Delivery, error) {
	next, err := tx.NextOpen(ctx, settled.Target, settled.CaseKey, settled.Sequence)
	if fault.Is(err, fault.NotFound) {
		return store.Delivery{}, nil
	}
	return next, err
}
