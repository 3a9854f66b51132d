package store

import (
	"context"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkTogether writes 6 kB each from eight sides, once with shared commits
// and once without, by turns in the same run. Figure: "times-alone" is how many
// times as many transactions a second are committed together.
func BenchmarkTogether(b *testing.B) {
	s, err := Open(context.Background(), filepath.Join(b.TempDir(), "s.db"))
	require.NoError(b, err)
	defer s.Close()
	ctx := context.Background()
	require.NoError(b, s.InTx(ctx, func(tx *Tx) error {
		_, err := tx.exec(ctx, `CREATE TABLE t (n INTEGER PRIMARY KEY, body BLOB)`)
		return err
	}))
	shared, body := s.together, make([]byte, 6<<10)
	var n atomic.Int64
	round := func(t *together) time.Duration {
		s.together = t
		start := time.Now()
		var wait sync.WaitGroup
		for range 8 {
			wait.Go(func() {
				for range 50 {
					if err := s.InTx(ctx, func(tx *Tx) error {
						_, err := tx.exec(ctx, `INSERT INTO t (n, body) VALUES (?, ?)`, n.Add(1), body)
						return err
					}); err != nil {
						b.Error(err)
					}
				}
			})
		}
		wait.Wait()
		return time.Since(start)
	}
	var together, alone time.Duration
	for b.Loop() {
		alone += round(nil)
		together += round(shared)
	}
	b.ReportMetric(alone.Seconds()/together.Seconds(), "times-alone")
}
