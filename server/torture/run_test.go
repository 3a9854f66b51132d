package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
)

func TestWhatCannotBePlayedIsRefused(t *testing.T) {
	t.Parallel()
	require.NoError(t, config{Store: "sqlite", Replicas: 1}.check())
	require.NoError(t, config{Store: "postgres", Replicas: 3, Rung: delivery.RungSingle}.check())
	for _, c := range []config{{Store: "sqlite", Replicas: 2}, {Store: "sqlite", Rung: delivery.RungDocument}, {Store: "sqlite", Rung: -1}} {
		_, err := run(t.Context(), c)
		require.Error(t, err)
	}
}
