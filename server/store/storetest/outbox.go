package storetest

import (
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/fault"
	"enbloc/server/store"
)

func claimOnce(t *testing.T, b bench) {
	id := b.delivery("c1", 1, "x")
	b.kind(b.InTx(ctx, func(tx *store.Tx) error {
		return tx.AddDelivery(ctx, store.Delivery{ID: "again", CaseKey: "c1", Sequence: 1, Target: "x", Created: now})
	}), fault.Conflict)
	var got atomic.Int32
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			_, v, err := b.Claim(ctx, "", id, "w", now, time.Minute)
			if v == store.Claimed && err == nil {
				got.Add(1)
			}
			if err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	require.EqualValues(t, 1, got.Load())
	_, v := b.claim(id, "w2", now.Add(59*time.Second))
	require.Equal(t, store.Blocked, v)
	_, _, err := b.Claim(ctx, "", "none", "w", now, time.Minute)
	b.kind(err, fault.NotFound)
	_, _, err = b.Claim(ctx, "another", b.delivery("c2", 1, "x"), "w", now, time.Minute)
	b.kind(err, fault.NotFound)
}

func claimInOrder(t *testing.T, b bench) {
	first, second, third := b.delivery("c1", 1, "x"), b.delivery("c1", 2, "x"), b.delivery("c1", 3, "x")
	elsewhere, other := b.delivery("c1", 2, "y"), b.delivery("c2", 2, "x")
	for _, free := range []string{elsewhere, other} {
		_, v := b.claim(free, "w", now)
		require.Equal(t, store.Claimed, v, "other targets and other cases do not wait")
	}
	_, v := b.claim(second, "w", now)
	require.Equal(t, store.Blocked, v)
	d, v := b.claim(first, "w", now)
	require.Equal(t, store.Claimed, v)
	_, v = b.claim(second, "w", now)
	require.Equal(t, store.Blocked, v)
	b.finish(d, store.Retrying)
	_, v = b.claim(second, "w", now)
	require.Equal(t, store.Blocked, v, "a row that is retried holds the next")
	d, _ = b.claim(first, "w", now)
	b.finish(d, store.ParkedDelivery)
	d, v = b.claim(second, "w", now)
	require.Equal(t, store.Claimed, v, "a parked row does not")
	_, v = b.claim(first, "w", now)
	require.Equal(t, store.Blocked, v, "two rows of a case are never sent at once")
	b.finish(d, store.InConflict)
	_, v = b.claim(third, "w", now)
	require.Equal(t, store.Blocked, v, "a conflict stops the case")

	next, err := b.NextOpen(ctx, "x", "c1", 2)
	require.NoError(t, err)
	require.Equal(t, third, next.ID)
	b.tx(func(tx *store.Tx) error { return tx.SupersedeBelow(ctx, "x", "c1", 3, now) })
	_, v = b.claim(first, "w", now)
	require.Equal(t, store.Closed, v, "the parked one")
	stopped, err := b.Delivery(ctx, second)
	require.NoError(t, err)
	require.Equal(t, store.InConflict, stopped.State, "a conflict is a human's")
}

func claimAbandoned(t *testing.T, b bench) {
	id := b.delivery("c1", 1, "x")
	d, _ := b.claim(id, "dead", now)
	require.False(t, d.Uncertain)
	d, v := b.claim(id, "alive", now.Add(2*time.Minute))
	require.Equal(t, store.Claimed, v)
	require.True(t, d.Uncertain)
	require.Equal(t, 2, d.Attempts)

	b.tx(func(tx *store.Tx) error {
		n, err := tx.ReleaseAll(ctx, now)
		require.EqualValues(t, 1, n)
		return err
	})
	d, v = b.claim(id, "next process", now)
	require.Equal(t, store.Claimed, v)
	require.True(t, d.Uncertain)
}

func finishFenced(t *testing.T, b bench) {
	id := b.delivery("c1", 1, "x")
	slow, _ := b.claim(id, "slow", now)
	quick, _ := b.claim(id, "quick", now.Add(2*time.Minute))
	err := b.InTx(ctx, func(tx *store.Tx) error {
		return tx.Finish(ctx, slow, store.Outcome{State: store.Dead}, store.Attempt{}, now)
	})
	b.kind(err, fault.Conflict)
	b.finish(quick, store.Delivered)
	d, err := b.Delivery(ctx, id)
	require.NoError(t, err)
	require.Equal(t, store.Delivered, d.State)
	attempts, err := b.Attempts(ctx, id)
	require.NoError(t, err)
	require.Len(t, attempts, 1)
	require.Equal(t, 2, attempts[0].Number)

	early := b.delivery("c2", 1, "x")
	d, _ = b.claim(early, "w", now)
	b.tx(func(tx *store.Tx) error {
		return tx.Finish(ctx, d, store.Outcome{State: store.Retrying, NextAttempt: now.Add(time.Hour)}, store.Attempt{}, now)
	})
	d, v := b.claim(early, "w", now.Add(time.Minute))
	require.Equal(t, store.Early, v)
	require.Equal(t, now.Add(time.Hour), d.NextAttempt)
}

func reopenAndSkip(t *testing.T, b bench) {
	id := b.delivery("c1", 1, "x")
	d, _ := b.claim(id, "w", now)
	reopen := func() error { return b.InTx(ctx, func(tx *store.Tx) error { return tx.Reopen(ctx, id, now) }) }
	skip := func() error { return b.InTx(ctx, func(tx *store.Tx) error { return tx.Skip(ctx, id, now) }) }
	b.kind(reopen(), fault.Conflict)
	b.kind(skip(), fault.Conflict)
	b.finish(d, store.Dead)
	require.NoError(t, reopen())
	d, v := b.claim(id, "w", now)
	require.Equal(t, store.Claimed, v)
	require.True(t, d.Uncertain, "nobody knows what happened meanwhile")
	b.finish(d, store.InConflict)
	require.NoError(t, skip())
	b.kind(reopen(), fault.Conflict)
	b.kind(skip(), fault.Conflict)
}

func deliveryPages(t *testing.T, b bench) {
	var ids []string
	for n := range 9 {
		target := "x"
		if n%3 == 0 {
			target = "y"
		}
		ids = append(ids, b.delivery("c1", n+1, target))
	}
	d, _ := b.claim(ids[0], "w", now)
	b.finish(d, store.Delivered)

	page, err := b.Deliveries(ctx, store.DeliveryQuery{Target: "x", Limit: 4})
	require.NoError(t, err)
	require.Equal(t, []string{ids[8], ids[7], ids[5], ids[4]}, keys(page))
	page, err = b.Deliveries(ctx, store.DeliveryQuery{Target: "x", Limit: 4, After: page[3].ID})
	require.NoError(t, err)
	require.Equal(t, []string{ids[2], ids[1]}, keys(page))
	page, err = b.Deliveries(ctx, store.DeliveryQuery{CaseKey: "c1", States: []store.DeliveryState{store.Delivered, store.Dead}})
	require.NoError(t, err)
	require.Equal(t, []string{ids[0]}, keys(page))

	counts, err := b.OpenCounts(ctx)
	require.NoError(t, err)
	rows := map[string]int64{}
	for _, c := range counts {
		require.Equal(t, store.Waiting, c.State)
		require.Equal(t, now, c.Oldest)
		rows[c.Target] = c.Rows
	}
	require.Equal(t, map[string]int64{"x": 6, "y": 2}, rows)
}

func keys(all []store.Delivery) []string {
	var ids []string
	for _, d := range all {
		ids = append(ids, d.ID)
	}
	return ids
}

// claimAfterClockWasPutBack: a time that no wait reaches was written by a clock
// that has been put back since.
func claimAfterClockWasPutBack(t *testing.T, b bench) {
	fresh, tried, held := b.delivery("c1", 1, "x"), b.delivery("c2", 1, "x"), b.delivery("c3", 1, "x")
	d, _ := b.claim(tried, "w", now)
	b.tx(func(tx *store.Tx) error {
		return tx.Finish(ctx, d, store.Outcome{State: store.Retrying, NextAttempt: now.Add(time.Hour)}, store.Attempt{}, now)
	})
	b.claim(held, "dead", now)
	back := now.Add(-24 * time.Hour)
	_, v := b.claim(fresh, "w", back)
	require.Equal(t, store.Claimed, v, "what was never tried waits for nothing")
	_, v = b.claim(tried, "w", now.Add(-30*time.Minute))
	require.Equal(t, store.Early, v, "a wait that can be is kept")
	_, v = b.claim(tried, "w", back)
	require.Equal(t, store.Claimed, v)
	d, v = b.claim(held, "w", back)
	require.Equal(t, store.Claimed, v)
	require.True(t, d.Uncertain, "its former holder may have sent")
}
