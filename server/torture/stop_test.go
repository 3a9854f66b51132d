//go:build peers

package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/internal/child"
	"enbloc/server/store"
	"enbloc/server/store/storetest"
)

// The program is asked to stop while it accepts and delivers, as a service is
// when the machine starts anew: each time it ends well and leaves nothing in its
// hands, and in the end everything has arrived once.
func TestNothingIsLostWhenTheProgramIsStopped(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			if engine == "postgres" {
				storetest.Postgres(t) // demands one
			}
			const stops = 2
			c := config{Cases: 10, Faults: 0.1, Seed: 12, Senders: 4, Say: t.Logf}
			ctx, folder := t.Context(), t.TempDir()
			dsn, drop, err := child.Database(ctx, engine, folder)
			require.NoError(t, err)
			t.Cleanup(drop)
			place, err := openPractice(ctx, c)
			require.NoError(t, err)
			t.Cleanup(place.close)
			p, err := child.New(ctx, child.Options{Folder: folder, Store: dsn, Target: place.base(), Name: "torture", Key: key})
			require.NoError(t, err)
			t.Cleanup(p.Kill)
			cases, err := makeCases(ctx, c.Cases, c.Seed, place)
			require.NoError(t, err)
			all := fleet{{Program: p}}
			require.NoError(t, place.begin(ctx, all))

			require.NoError(t, p.Start(ctx))
			counter := newKiller(c, all, cases)
			fed := make(chan error, 1)
			go func() { fed <- feed(ctx, c, all, cases, counter, &child.Measure{}) }()
			for n := range stops {
				point := counter.total * (n + 1) / (stops + 1)
				require.Eventually(t, func() bool { return counter.count() >= point }, 2*time.Minute, time.Millisecond)
				require.NoError(t, p.Stop(ctx), "it ends with 0")
				require.Positive(t, left(t, dsn), "it was stopped while there was something to do")
				require.NoError(t, p.Start(ctx))
			}
			require.NoError(t, <-fed)
			require.Eventually(t, func() bool {
				open, err := p.Open(ctx)
				return err == nil && open == 0
			}, 5*time.Minute, 50*time.Millisecond)
			require.NoError(t, p.Stop(ctx))

			st, err := store.Open(ctx, dsn)
			require.NoError(t, err)
			defer st.Close() //nolint:errcheck // only read
			v := verdict{Cases: len(cases)}
			require.NoError(t, check(ctx, &v, st, place.Journal(), p.Version, cases))
			require.True(t, v.Good(), "%+v", v)
			require.Equal(t, counter.total, v.Documents)
			require.Greater(t, v.LedgerRows, 20*len(cases))
		})
	}
}

// left is how many rows a program that has ended leaves to the next one, and
// demands that none is held.
func left(t *testing.T, dsn string) (open int64) {
	t.Helper()
	st, err := store.Open(t.Context(), dsn)
	require.NoError(t, err)
	defer st.Close() //nolint:errcheck // only read
	holders, err := st.Holders(t.Context())
	require.NoError(t, err)
	require.Empty(t, holders)
	counts, err := st.OpenCounts(t.Context())
	require.NoError(t, err)
	for _, c := range counts {
		open += c.Rows
	}
	return open
}
