package server_test

import (
	"context"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
	"enbloc/server/store"
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

// pages limits the database to the pages that it has, which is what a full disk
// is to it (SQLITE_FULL, https://www.sqlite.org/rescode.html#full), or lifts the
// limit.
func pages(t *testing.T, s *servertest.Service, full bool) {
	t.Helper()
	limit := "PRAGMA max_page_count = 1" // never below what is there
	if !full {
		limit = "PRAGMA max_page_count = 1073741823"
	}
	_, err := s.Store.DB().ExecContext(context.Background(), limit)
	require.NoError(t, err)
}

// A disk that runs full refuses with 503, and each document is there whole or
// not at all; once there is room the same request is accepted.
func TestAFullDiskLeavesNothingHalfWritten(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	pages(t, s, true)
	accepted := 0
	for status := http.StatusAccepted; status == http.StatusAccepted; {
		require.Less(t, accepted, 1000, "the disk never ran full")
		before := s.Rows()
		a := s.Post("/cases", example(t, gastricReport, "report_id/value=HTEST-FULL-"+string(rune('A'+accepted/26))+string(rune('A'+accepted%26))))
		if status = a.Status; status == http.StatusAccepted {
			accepted++
			continue
		}
		problemOf(t, a, http.StatusServiceUnavailable)
		require.NotEmpty(t, a.Header.Get("Retry-After"))
		require.Equal(t, before, s.Rows())
	}
	require.Equal(t, accepted, s.Rows()["cases"])
	require.Equal(t, accepted, s.Rows()["deliveries"])
	pages(t, s, false)
	require.Equal(t, http.StatusAccepted, s.Post("/cases", example(t, gastricReport)).Status)
	require.Equal(t, accepted+1, s.Rows()["documents"])
}

// The disk runs full between the target's answer and the writing down of it: the
// case stands at the target, nothing here says so, and still it is not written
// twice. What came of it is written down as soon as there is room, not when the
// row's lease has ended.
func TestADiskThatFillsDuringADeliveryDoublesNothing(t *testing.T) {
	t.Parallel()
	var s *servertest.Service
	var full atomic.Int32
	log := &heard{}
	s = servertest.Start(t, servertest.Options{Undelivered: false, Log: log, Target: func(receiver http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			receiver.ServeHTTP(w, r)
			if r.Method == http.MethodPost && r.URL.Path == "/fhir" && full.CompareAndSwap(0, 1) {
				pages(t, s, true)
			}
		})
	}})
	receipt := s.MustAccept("/cases", example(t, gastricReport))
	require.Eventually(t, func() bool { return strings.Contains(log.String(), "cannot be written down yet") }, time.Minute, 5*time.Millisecond)
	require.NotEmpty(t, s.Receiver.Resources("DiagnosticReport"))
	pages(t, s, false)
	s.Settle()
	rows, err := s.Store.Deliveries(context.Background(), store.DeliveryQuery{CaseKey: receipt.Case})
	require.NoError(t, err)
	require.Equal(t, store.Delivered, rows[0].State, rows[0].Explanation)
	require.Equal(t, 1, rows[0].Attempts)
	for _, w := range s.Receiver.Journal() {
		require.Equal(t, 1, w.Version, "%s/%s was written twice", w.Type, w.ID)
	}
	require.Len(t, s.Resources("DiagnosticReport", receipt.Case), len(s.Receiver.Resources("DiagnosticReport")))
}
