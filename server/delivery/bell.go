package delivery

import (
	"context"
	"database/sql"
	"encoding/json"
	"slices"
	"sync"

	"github.com/riverqueue/river/riverdriver"
)

// A bell tells River inside the process that a job was committed. River's own
// notices go through the database: on Postgres nobody can hear them through
// database/sql, and every transaction that sends one waits until the one before
// is on the disk; on SQLite they are rows that are looked for twenty times a
// second. Jobs of other processes, and those that fall due, are found by polling.
type bell struct {
	rung    chan struct{} // holds one ring; more say no more
	mu      sync.Mutex
	pending []string // queues with new jobs, each once
}

// insertTopic is where River expects notices of new jobs.
const insertTopic = "river_insert"

func newBell() *bell { return &bell{rung: make(chan struct{}, 1)} }

// ring says that a queue has a new job.
func (b *bell) ring(queue string) {
	b.mu.Lock()
	if !slices.Contains(b.pending, queue) {
		b.pending = append(b.pending, queue)
	}
	b.mu.Unlock()
	select {
	case b.rung <- struct{}{}:
	default:
	}
}

// WaitForNotification waits for the next ring.
func (b *bell) WaitForNotification(ctx context.Context) (*riverdriver.Notification, error) {
	for {
		if queue, ok := b.next(); ok {
			payload, err := json.Marshal(map[string]string{"queue": queue})
			return &riverdriver.Notification{Topic: insertTopic, Payload: string(payload)}, err
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-b.rung:
		}
	}
}

func (b *bell) next() (queue string, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.pending) == 0 {
		return "", false
	}
	queue, b.pending = b.pending[0], b.pending[1:]
	return queue, true
}

// The rest of [riverdriver.Listener]: there is nothing to connect to.

func (b *bell) Connect(context.Context) error          { return nil }
func (b *bell) Close(context.Context) error            { return nil }
func (b *bell) Ping(context.Context) error             { return nil }
func (b *bell) Listen(context.Context, string) error   { return nil }
func (b *bell) Unlisten(context.Context, string) error { return nil }
func (b *bell) Schema() string                         { return "" }
func (b *bell) SetAfterConnectExec(string)             {}

// belled is a driver of River with a bell for its notices.
type belled struct {
	riverdriver.Driver[*sql.Tx]
	bell *bell
}

func (d belled) GetListener(*riverdriver.GetListenenerParams) riverdriver.Listener { return d.bell }

// SupportsListener lets River listen to the bell.
func (belled) SupportsListener() bool { return true }

// SupportsListenNotify keeps River from sending notices through the database.
func (belled) SupportsListenNotify() bool { return false }
