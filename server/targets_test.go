package server_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
	"enbloc/server/store"
)

// What a person kept is shown beside what the service read since.
func TestTargetsShowWhatWasKeptAndWhatWasRead(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	type brief struct {
		Checked         time.Time `json:"checked_at"`
		Rung            int
		Proven, Drifted bool
	}
	shown := func() (last, kept *brief) {
		var body struct {
			Targets []struct{ Preflight, Kept *brief }
		}
		s.MustGet("/targets", &body)
		return body.Targets[0].Preflight, body.Targets[0].Kept
	}
	put := func(fn func(*store.Tx) error) { require.NoError(t, s.Store.InTx(context.Background(), fn)) }
	last, kept := shown()
	require.Nil(t, last)
	require.Nil(t, kept)

	day := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	read := store.Preflight{Target: "practice", Rung: 2, Usable: true, Document: []byte(`{"drift":[{}]}`), Checked: day}
	put(func(tx *store.Tx) error { return tx.PutReading(context.Background(), store.LastReading, read) })
	last, kept = shown()
	require.Equal(t, &brief{Checked: day, Rung: 2, Drifted: true}, last)
	require.Nil(t, kept)

	proven := store.Preflight{Target: "practice", Rung: 4, Usable: true, Document: []byte(`{"proven":true}`), Checked: day.Add(time.Hour)}
	put(func(tx *store.Tx) error { return tx.PutPreflight(context.Background(), proven) })
	last, kept = shown()
	require.Equal(t, &brief{Checked: proven.Checked, Rung: 4, Proven: true}, last)
	require.Equal(t, last, kept)

	put(func(tx *store.Tx) error { return tx.PutReading(context.Background(), store.LastReading, read) })
	last, kept = shown()
	require.Equal(t, &brief{Checked: day, Rung: 2, Drifted: true}, last)
	require.Equal(t, 4, kept.Rung)
}
