package delivery

import (
	"context"
	"sync"
	"time"

	"enbloc/server/store"
)

// Ledger remembers what stands on a target because we put it there.
type Ledger interface {
	// Entries are those of the case and those of the shared keys, by role key;
	// delivered is the highest state of the case that stands complete, 0 for none.
	Entries(ctx context.Context, target, caseKey string, shared []string) (entries map[string]store.LedgerEntry, delivered int, err error)
	// Record keeps entries and, when complete is not 0, that the state stands
	// complete; both at once or neither.
	Record(ctx context.Context, target, caseKey string, entries []store.LedgerEntry, complete int) error
}

// exclusive is a ledger that several processes keep.
type exclusive interface {
	// Alone keeps the others from being alone at a target until end is called.
	Alone(ctx context.Context, target string) (end func(), err error)
}

// storeLedger is the lasting ledger of the service.
type storeLedger struct {
	store *store.Store
	now   func() time.Time
}

func (l storeLedger) Entries(ctx context.Context, target, caseKey string, shared []string) (map[string]store.LedgerEntry, int, error) {
	entries, delivered, err := l.store.Ledger(ctx, target, caseKey, shared...)
	all := make(map[string]store.LedgerEntry, len(entries))
	for _, e := range entries {
		all[e.RoleKey] = e
	}
	return all, delivered, err
}

// Alone keeps the other processes waiting.
func (l storeLedger) Alone(ctx context.Context, target string) (end func(), err error) {
	return l.store.Alone(ctx, target)
}

func (l storeLedger) Record(ctx context.Context, target, caseKey string, entries []store.LedgerEntry, complete int) error {
	return l.store.InTx(ctx, func(tx *store.Tx) error {
		return record(ctx, tx, tx.PutLedger, target, caseKey, entries, complete, l.now())
	})
}

func record(ctx context.Context, tx *store.Tx, put func(context.Context, string, []store.LedgerEntry) error,
	target, caseKey string, entries []store.LedgerEntry, complete int, now time.Time,
) error {
	if err := put(ctx, target, entries); err != nil || complete == 0 {
		return err
	}
	return tx.SetDelivered(ctx, target, caseKey, complete, now)
}

// memoryLedger serves single sends: it forgets with the process.
type memoryLedger struct {
	mu        sync.Mutex
	entries   map[[2]string]store.LedgerEntry
	delivered map[[2]string]int
}

// NewMemoryLedger returns a ledger that lasts as long as the process.
func NewMemoryLedger() Ledger {
	return &memoryLedger{entries: map[[2]string]store.LedgerEntry{}, delivered: map[[2]string]int{}}
}

func (l *memoryLedger) Entries(_ context.Context, target, caseKey string, shared []string) (map[string]store.LedgerEntry, int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := map[string]store.LedgerEntry{}
	for at, e := range l.entries {
		if at[0] == target && e.CaseKey == caseKey {
			all[e.RoleKey] = e
		}
	}
	for _, k := range shared {
		if e, ok := l.entries[[2]string{target, k}]; ok {
			all[k] = e
		}
	}
	return all, l.delivered[[2]string{target, caseKey}], nil
}

func (l *memoryLedger) Record(_ context.Context, target, caseKey string, entries []store.LedgerEntry, complete int) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, e := range entries {
		l.entries[[2]string{target, e.RoleKey}] = e
	}
	at := [2]string{target, caseKey}
	l.delivered[at] = max(l.delivered[at], complete)
	return nil
}
