// Package storetest holds the suite that a store must pass on every engine, and
// the way to an empty database for other packages' tests.
//
// It promises that a test sees a database of its own, so that tests run in
// parallel and leave nothing behind.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
)

// Run runs the whole suite. open returns an empty store of the engine.
func Run(t *testing.T, open func(t testing.TB) *store.Store) {
	for name, check := range map[string]func(*testing.T, bench){
		"nothing of a transaction that fails stays":     transactionIsWhole,
		"a case moves state by state":                   caseMoves,
		"a report has one case":                         caseOnce,
		"pages of cases meet without gap or overlap":    casePages,
		"cases are walked oldest first, each once":      casesWalked,
		"the mark differs after every change of a case": markChanges,
		"a part has each revision once":                 partOnce,
		"a part finds none, one or several cases":       partFinds,
		"a parked part joins when its case comes":       parkedJoins,
		"a state keeps the documents that counted":      stateKeeps,
		"an idempotency key is used up once":            answerOnce,
		"a row is claimed by one worker only":           claimOnce,
		"rows of a case are claimed in order":           claimInOrder,
		"an abandoned row is claimed again in doubt":    claimAbandoned,
		"a worker that lost its row writes nothing":     finishFenced,
		"a clock that was put back holds nothing up":    claimAfterClockWasPutBack,
		"rows can be reopened and skipped":              reopenAndSkip,
		"pages of deliveries filter and meet":           deliveryPages,
		"the ledger keeps the newest of each role key":  ledgerKeeps,
		"what was deleted on a target is forgotten":     takenBack,
		"cases are walked by key":                       walkedByKey,
		"settled rows can be reviewed":                  reviewed,
		"a target keeps its last preflight":             preflightKept,
		"readings stand apart from what was kept":       readingsApart,
		"hostile text is stored as it is":               hostileText,
		"concurrent writers of one case do not collide": concurrentWriters,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			check(t, bench{open(t), t})
		})
	}
}

// bench is a store with shorthands.
type bench struct {
	*store.Store
	t testing.TB
}

var (
	ctx = context.Background()
	now = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
)

func (b bench) tx(fn func(*store.Tx) error) {
	b.t.Helper()
	require.NoError(b.t, b.InTx(ctx, fn))
}

// kase stores a case at its first state.
func (b bench) kase(key, reportID string) {
	b.t.Helper()
	b.tx(func(tx *store.Tx) error {
		return tx.PutCase(ctx, store.Case{Key: key, Tenant: "T", Source: "S", ReportID: reportID, Sequence: 1, Revision: 1, Status: "final", Updated: now})
	})
}

// delivery stores an outbox row and returns its id.
func (b bench) delivery(caseKey string, sequence int, target string) string {
	b.t.Helper()
	id := uuid.Must(uuid.NewV7()).String()
	b.tx(func(tx *store.Tx) error {
		return tx.AddDelivery(ctx, store.Delivery{ID: id, CaseKey: caseKey, Sequence: sequence, Target: target, Created: now})
	})
	return id
}

func (b bench) claim(id, worker string, at time.Time) (d store.Delivery, v store.Verdict) {
	b.t.Helper()
	d, v, err := b.Claim(ctx, "", id, worker, at, time.Minute)
	require.NoError(b.t, err)
	return d, v
}

func (b bench) finish(d store.Delivery, state store.DeliveryState) {
	b.t.Helper()
	b.tx(func(tx *store.Tx) error {
		return tx.Finish(ctx, d, store.Outcome{State: state, NextAttempt: now}, store.Attempt{Started: now, Class: "done"}, now)
	})
}

func (b bench) kind(err error, kind fault.Kind) {
	b.t.Helper()
	require.Error(b.t, err)
	require.Equal(b.t, kind, fault.KindOf(err), "%v", err)
}

func transactionIsWhole(t *testing.T, b bench) {
	stop := errors.New("stop")
	err := b.InTx(ctx, func(tx *store.Tx) error {
		require.NoError(t, tx.PutCase(ctx, store.Case{Key: "c1", Tenant: "T", Source: "S", ReportID: "R", Sequence: 1, Updated: now}))
		require.NoError(t, tx.AddDelivery(ctx, store.Delivery{ID: "d1", CaseKey: "c1", Sequence: 1, Target: "x", Created: now}))
		return stop
	})
	require.ErrorIs(t, err, stop)
	require.Panics(t, func() {
		_ = b.InTx(ctx, func(tx *store.Tx) error {
			require.NoError(t, tx.PutCase(ctx, store.Case{Key: "c1", Tenant: "T", Source: "S", ReportID: "R", Sequence: 1, Updated: now}))
			panic("in the middle")
		})
	})
	_, err = b.Case(ctx, "c1")
	b.kind(err, fault.NotFound)
	_, err = b.Delivery(ctx, "d1")
	b.kind(err, fault.NotFound)
	require.NoError(t, b.Ready(ctx))
}

func answerOnce(t *testing.T, b bench) {
	_, err := b.Answer(ctx, "T", "key-1")
	b.kind(err, fault.NotFound)
	a := store.Answer{RequestHash: "h", Status: 202, ContentType: "application/json", Body: []byte(`{"a":1}`), Created: now}
	b.tx(func(tx *store.Tx) error { return tx.KeepAnswer(ctx, "T", "key-1", a) })
	got, err := b.Answer(ctx, "T", "key-1")
	require.NoError(t, err)
	require.Equal(t, a, got)
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.KeepAnswer(ctx, "T", "key-1", a) }), fault.Conflict)
	b.tx(func(tx *store.Tx) error { return tx.KeepAnswer(ctx, "other tenant", "key-1", a) })
	b.kind(b.InTx(ctx, func(tx *store.Tx) error { return tx.KeepAnswer(ctx, "T", "", a) }), fault.Malformed)
	b.tx(func(tx *store.Tx) error {
		n, err := tx.ForgetAnswers(ctx, now.Add(time.Second))
		require.EqualValues(t, 2, n)
		return err
	})
}

func ledgerKeeps(t *testing.T, b bench) {
	e := store.LedgerEntry{RoleKey: "k1", Role: "lesion/1", CaseKey: "c1", Type: "Observation", ServerID: "7", Version: "1", Hash: "h", Body: []byte(`{}`), Sequence: 1, Written: now}
	shared := e
	shared.RoleKey, shared.CaseKey, shared.Role = "k2", "", "shared/device"
	b.tx(func(tx *store.Tx) error { return tx.PutLedger(ctx, "x", []store.LedgerEntry{e, shared}) })
	older := e
	older.Version = "1.5"
	e.Version, e.Voided = "2", true
	b.tx(func(tx *store.Tx) error { return tx.PutLedger(ctx, "x", []store.LedgerEntry{older, e}) })
	var many []store.LedgerEntry
	for n := range 120 {
		many = append(many, store.LedgerEntry{RoleKey: fmt.Sprintf("m%03d", n), CaseKey: "c9", Body: []byte(`{}`), Written: now})
	}
	b.tx(func(tx *store.Tx) error { return tx.PutLedger(ctx, "x", many) })
	stored, _, err := b.Ledger(ctx, "x", "c9")
	require.NoError(t, err)
	require.Equal(t, many, stored)
	got, _, err := b.Ledger(ctx, "x", "c1")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{e}, got)
	got, _, err = b.Ledger(ctx, "x", "no case", "k2", "k9")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{shared}, got)
	got, _, err = b.Ledger(ctx, "x", "c1", "k2")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{e, shared}, got)
	opened := e
	opened.CaseKey = "c8"
	open := func() error {
		return b.Store.InTx(ctx, func(tx *store.Tx) error { return tx.OpenLedger(ctx, "x", []store.LedgerEntry{opened, shared, opened}) })
	}
	require.NoError(t, open())
	got, _, err = b.Ledger(ctx, "x", "c8", "k2")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{opened, shared}, got)
	require.True(t, fault.Is(open(), fault.Conflict), "something stands there already")
	got, _, err = b.Ledger(ctx, "other target", "c1")
	require.NoError(t, err)
	require.Empty(t, got)
	more := shared
	more.RoleKey = "k0"
	b.tx(func(tx *store.Tx) error { return tx.PutLedger(ctx, "x", []store.LedgerEntry{more}) })
	got, err = b.SharedLedger(ctx, "x")
	require.NoError(t, err)
	require.Equal(t, []store.LedgerEntry{more, shared}, got, "all that serves many cases, and nothing of one")
	got, err = b.SharedLedger(ctx, "other target")
	require.NoError(t, err)
	require.Empty(t, got)

	for _, sequence := range []int{2, 1} {
		b.tx(func(tx *store.Tx) error { return tx.SetDelivered(ctx, "x", "c1", sequence, now) })
	}
	_, n, err := b.Ledger(ctx, "x", "c1")
	require.NoError(t, err)
	require.Equal(t, 2, n, "a lower state changes nothing")
	_, n, err = b.Ledger(ctx, "x", "c2")
	require.NoError(t, err)
	require.Zero(t, n)
}
