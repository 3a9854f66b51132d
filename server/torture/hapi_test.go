//go:build peers

package main

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The same against a server that others wrote: HAPI is killed with SIGKILL in
// the middle of transactions and started again on its data, and so is the
// program, and one in twenty answers goes wrong on the way; HAPI's own history is
// the journal.
func TestNothingIsLostWhenTheServerIsKilledToo(t *testing.T) {
	v, err := run(t.Context(), config{Cases: 12, Kills: 3, Faults: 0.05, Seed: 1, Store: "sqlite", Senders: 4, Patience: 20 * time.Minute, Say: t.Logf,
		HAPI: filepath.Join("..", "..", "testdata", "peers", "hapi", "start.sh"), HAPIKills: 3})
	require.NoError(t, err)
	require.True(t, v.Good(), "%+v", v)
	require.Equal(t, 3, v.Kills)
	require.Equal(t, 3, v.HAPIKills)
	require.Greater(t, v.Faults, 5)
	require.Greater(t, v.LedgerRows, 12*20)
}
