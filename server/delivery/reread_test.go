package delivery_test

import (
	"context"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/target"
)

// large is a case of 110 resources, of which 104 change with the state.
func large(sequence int) graph.Graph {
	s := scene{name: "large", sequence: sequence, more: 102, status: "final"}
	if sequence > 1 {
		s.size, s.status = "23.50", "amended"
	}
	g := s.graph()
	for i, r := range g.Resources {
		if sequence > 1 && strings.Contains(r.Role, "/fact/") {
			g.Resources[i].Body = []byte(strings.Replace(string(r.Body), "1.50", "2.50", 1))
		}
	}
	return g
}

// counted passes everything on and counts what reads the case back.
func counted(n *atomic.Int32) func(*http.Request) bool {
	return func(r *http.Request) bool {
		if r.Method == http.MethodGet || strings.HasSuffix(r.URL.Path, "/_search") && !strings.Contains(r.URL.Path, "Patient") {
			n.Add(1)
		}
		return false
	}
}

// A doubt about a large case is settled by a few searches, and what a reading
// has settled stays settled when the next one fails.
func TestADoubtIsSettledInFewReadings(t *testing.T) {
	t.Parallel()
	for name, arrived := range map[string]bool{"arrived": true, "lost": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			e := b.engine(t, func(t *delivery.Target) { t.Verify = delivery.VerifySample })
			_, err := e.Deliver(context.Background(), large(1))
			require.NoError(t, err)
			wrote := b.writes()

			fault := resetBefore
			if arrived {
				fault = resetAfter
			}
			b.faults.plan(transactions, fault)
			_, err = e.Deliver(context.Background(), large(2))
			requireReason(t, err, delivery.NoAnswer)

			var reads atomic.Int32
			b.faults.plan(counted(&reads), nil)
			// The fourth search for resources by id is refused.
			var searches atomic.Int32
			b.faults.plan(func(r *http.Request) bool {
				return strings.HasSuffix(r.URL.Path, "/Observation/_search") && searches.Add(1) == 4
			}, status(401))
			_, err = delivery.DeliverInDoubt(e, context.Background(), large(2))
			f := requireReason(t, err, delivery.CredentialsRefused)
			require.Equal(t, target.Auth, f.Class)
			require.True(t, f.Uncertain)
			require.LessOrEqual(t, reads.Load(), int32(12))

			reads.Store(0)
			got, err := delivery.DeliverInDoubt(e, context.Background(), large(2))
			require.NoError(t, err)
			require.Empty(t, got.Alarms())
			require.Equal(t, wrote+104, b.writes(), "each once")
			if arrived {
				require.LessOrEqual(t, reads.Load(), int32(12), "what was settled is not read again")
			} else {
				require.LessOrEqual(t, reads.Load(), int32(20))
			}
		})
	}
}

// A target that cannot search by id is read one by one.
func TestReadingOneByOneWhereIDsCannotBeSearched(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	e := b.engine(t)
	_, err := e.Deliver(context.Background(), large(1))
	require.NoError(t, err)
	b.faults.plan(transactions, resetAfter)
	_, err = e.Deliver(context.Background(), large(2))
	requireReason(t, err, delivery.NoAnswer)
	wrote := b.writes()
	for range 12 { // by POST and by GET, for each of the six searches
		b.faults.plan(func(r *http.Request) bool {
			return strings.HasSuffix(r.URL.Path, "/Observation/_search") || strings.HasSuffix(r.URL.Path, "/Observation")
		}, status(400))
	}
	_, err = delivery.DeliverInDoubt(e, context.Background(), large(2))
	require.NoError(t, err)
	require.Equal(t, wrote, b.writes())
}
