//go:build peers

package main

import (
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/internal/child"
)

// The small form of the proof, on both engines; DEVELOPERS.md has the command
// and the figures of the large one.
func TestNothingIsLostOrDoubled(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			if engine == "postgres" {
				require.NotEmpty(t, os.Getenv(child.PostgresEnv), "start a Postgres and give its URL")
			}
			v, err := run(t.Context(), config{Cases: 100, Kills: 5, Faults: 0.2, Seed: 1, Store: engine, Senders: 4, Patience: 20 * time.Minute, Say: t.Logf})
			require.NoError(t, err)
			require.True(t, v.Good(), "%+v", v)
			require.Equal(t, 100, v.Cases)
			require.Equal(t, 5, v.Kills)
			require.Greater(t, v.Documents, 100)
			require.Greater(t, v.LedgerRows, 100*20)
			require.Positive(t, v.SharedRows)
			for kind, n := range v.FaultsByKind {
				require.Positive(t, n, kind)
			}
		})
	}
}

// Several processes on one Postgres: whoever a kill leaves goes on, and takes over
// what the killed one was sending.
func TestNothingIsLostOrDoubledByReplicas(t *testing.T) {
	require.NotEmpty(t, os.Getenv(child.PostgresEnv), "start a Postgres and give its URL")
	v, err := run(t.Context(), config{Cases: 60, Kills: 6, Faults: 0.2, Seed: 2, Store: "postgres", Replicas: 3, Senders: 6, Patience: 20 * time.Minute, Say: t.Logf})
	require.NoError(t, err)
	require.True(t, v.Good(), "%+v", v)
	require.Equal(t, 6, v.Kills)
	require.Greater(t, v.Documents, 60)
	require.Greater(t, v.LedgerRows, 60*20)
	require.Len(t, v.Replicas, 3)
	for _, r := range v.Replicas {
		require.Positive(t, r.Accepted)
		require.Positive(t, r.Delivered)
	}
}

// The other ways to write resources. By single requests a case is a hundred of
// them, so that as many go wrong in a case by a smaller share.
func TestNothingIsLostOrDoubledByAnyRung(t *testing.T) {
	for rung, faults := range map[int]float64{delivery.RungClientIDs: 0.2, delivery.RungConditionalUpdate: 0.2, delivery.RungSingle: 0.01} {
		t.Run(strconv.Itoa(rung), func(t *testing.T) {
			v, err := run(t.Context(), config{Cases: 30, Kills: 4, Faults: faults, Seed: 3, Store: "sqlite", Rung: rung, Senders: 4, Patience: 20 * time.Minute, Say: t.Logf})
			require.NoError(t, err)
			require.True(t, v.Good(), "%+v", v)
			require.Equal(t, 4, v.Kills)
			require.Greater(t, v.LedgerRows, 30*20)
			require.Equal(t, rung == delivery.RungSingle, v.Partial > 0, "only single requests leave anything out")
		})
	}
}
