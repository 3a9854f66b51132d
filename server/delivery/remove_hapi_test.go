//go:build peers

package delivery_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/store"
)

// A real server loses a case whose patient objects, whole and alone, also when
// the answer to the deletion is lost; and takes it again when the patient agrees.
func TestARealServerIsRidOfACaseWhosePatientObjects(t *testing.T) {
	b := realServer(t)
	g := &gate{passage: delivery.Pass}
	p := plantAt(t, b, "", func(o *delivery.Options) { o.Targets[0].Gate = g.ask })
	require.NoError(t, p.svc.Start(t.Context()))
	device := uuid.NewString()
	s := scene{name: uuid.NewString(), sequence: 1, event: true, histology: true, more: 3, device: device}
	other := scene{name: uuid.NewString(), sequence: 1, device: device}
	p.accept(s, other)
	p.until(s, store.Delivered)
	p.until(other, store.Delivered)
	sent, others := standing(t, b, s.caseKey()), standing(t, b, other.caseKey())
	require.Equal(t, 1, sent["AdverseEvent"])
	require.Equal(t, 1, sent["Provenance"])

	review := func(answer delivery.Passage) {
		t.Helper()
		g.set(answer, nil)
		n, err := p.svc.ReviewConsent(t.Context(), p.newest(s).Target, func(_ context.Context, key string, _ int) (delivery.Passage, error) {
			if key == s.caseKey() {
				return answer, nil
			}
			return delivery.Pass, nil
		})
		require.NoError(t, err)
		require.Equal(t, 1, n)
	}
	p.faults.plan(transactions, resetAfter)
	review(delivery.Withhold)
	row := p.until(s, store.Withheld)
	// HAPI answers a search from its index, which follows within a second or so.
	require.Eventually(t, func() bool { return len(standing(t, b, s.caseKey())) == 0 }, time.Minute, 100*time.Millisecond, row.Explanation)
	require.Equal(t, others, standing(t, b, other.caseKey()), "another case was touched")
	require.NotContains(t, row.Explanation, "refuses")

	review(delivery.Pass)
	p.until(s, store.Delivered)
	require.Eventually(t, func() bool {
		again := standing(t, b, s.caseKey())
		return len(again) == len(sent) && again["Observation"] == sent["Observation"]
	}, time.Minute, 100*time.Millisecond)
}
