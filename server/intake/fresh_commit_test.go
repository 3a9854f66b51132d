package intake

import (
	"context"
	"encoding/json"
	"errors"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/sample"
	"enbloc/server/store"
)

type noOutbox struct{}

func (noOutbox) EnqueueTx(context.Context, *store.Tx, string, int) error { return nil }

// A state is not kept before it is committed: were the commit lost, another process
// could make another state of the same number, and this one would deliver its own.
func TestAStateIsKeptOnceItIsCommitted(t *testing.T) {
	t.Parallel()
	st, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "enbloc.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	in := New(Options{Store: st, Outbox: noOutbox{}, Targets: 1,
		Pipeline: mapping.Pipeline{Book: assess.DefaultBook(), FHIR: fhir.Options{Key: []byte("HTEST intake key, no secret, 32b"), SoftwareVersion: "test"}}})
	var raw []byte
	for c := range sample.Cohort(1, 1) {
		raw, err = json.Marshal(c.Report)
		require.NoError(t, err)
	}
	lost := errors.New("the commit is lost")
	_, err = in.Accept(t.Context(), store.Report, raw, func(context.Context, *store.Tx, Receipt) error {
		require.Zero(t, in.fresh.states.Len(), "it is not committed yet")
		return lost
	})
	require.ErrorIs(t, err, lost)
	require.Zero(t, in.fresh.states.Len())
	_, err = in.Accept(t.Context(), store.Report, raw, nil)
	require.NoError(t, err)
	require.Equal(t, 1, in.fresh.states.Len())
}
