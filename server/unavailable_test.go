package server_test

import (
	"context"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

// TestAStoreThatCannotWriteIsSaidSo makes the database read-only, as a full
// disk does, and expects 503 with a time to come again, and nothing half done.
func TestAStoreThatCannotWriteIsSaidSo(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	ctx := context.Background()
	_, err := s.Store.DB().ExecContext(ctx, "PRAGMA query_only = 1")
	require.NoError(t, err)
	for _, ask := range []func() servertest.Answer{
		func() servertest.Answer { return s.Post("/cases", example(t, gastricReport)) },
		func() servertest.Answer { return s.Post("/cases", example(t, gastricReport), "Idempotency-Key", "k") },
		func() servertest.Answer { return s.Do(http.MethodGet, "/health/ready", nil) },
	} {
		a := ask()
		p := problemOf(t, a, http.StatusServiceUnavailable)
		require.NotEmpty(t, a.Header.Get("Retry-After"))
		require.NotContains(t, p.Detail, "readonly")
	}
	_, err = s.Store.DB().ExecContext(ctx, "PRAGMA query_only = 0")
	require.NoError(t, err)
	require.Zero(t, s.Rows()["documents"])
	// The same request, key and all, is accepted once the disk has room.
	require.Equal(t, http.StatusAccepted, s.Post("/cases", example(t, gastricReport), "Idempotency-Key", "k").Status)
}
