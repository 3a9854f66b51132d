//go:build peers

package preflight_test

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
)

// TestRealServersGetTheirRung runs the preflight against FHIR servers that
// others wrote. What is expected of each was observed by asking it by hand.
func TestRealServersGetTheirRung(t *testing.T) {
	for name, c := range map[string]struct {
		variable string
		rung     int
		first    delivery.FirstWrite
		statuses map[string]preflight.Status
	}{
		"HAPI FHIR 8.8.0": {"ENBLOC_TEST_HAPI", delivery.RungConditionalCreate, delivery.WithCondition, map[string]preflight.Status{
			"create": preflight.Pass, "stale-version": preflight.Pass, "conditional-create": preflight.Pass, "race": preflight.Pass,
			"transaction": preflight.Pass, "atomic": preflight.Pass, "client-id": preflight.Pass, "tag-adverse-event": preflight.Pass,
			"tag-provenance": preflight.Pass, "round-trip": preflight.Pass, "conditional-reference": preflight.Pass,
			"attachment": preflight.Pass, "freshness": preflight.Pass, "entries": preflight.Pass, "cleanup": preflight.Pass}},
		"Medplum 5.2.13, router in memory": {"ENBLOC_TEST_MEDPLUM", delivery.RungSingle, delivery.WithCondition, map[string]preflight.Status{
			"stale-version": preflight.Pass, "transaction": preflight.Pass, "atomic": preflight.Fail, "round-trip": preflight.Warn,
			"conditional-reference": preflight.Warn}},
	} {
		t.Run(name, func(t *testing.T) {
			base := os.Getenv(c.variable)
			require.NotEmpty(t, base, "start the server and give its base URL in %s", c.variable)
			client, err := fhirserver.New(fhirserver.Config{BaseURL: base})
			require.NoError(t, err)
			got, err := preflight.Run(context.Background(), preflight.Options{Client: client, Write: true})
			require.NoError(t, err)
			for _, check := range got.Checks {
				t.Log(check.Status, check.ID, check.Found, check.Millis)
			}
			t.Log(got.Sentence)
			require.Equal(t, c.rung, got.Rung.Number, got.Why)
			require.Equal(t, c.first, got.FirstWrite)
			for id, want := range c.statuses {
				require.Equal(t, want, statusOf(got, id), id)
			}
			require.Empty(t, got.Leftovers)
		})
	}
}

// A FHIR server that others wrote takes whole cases, each is taken back, and
// nothing of them stays.
func TestARealServerTakesWholeCases(t *testing.T) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start a HAPI FHIR server and give its base URL in ENBLOC_TEST_HAPI")
	client, err := fhirserver.New(fhirserver.Config{BaseURL: base})
	require.NoError(t, err)
	got, err := preflight.Run(context.Background(), preflight.Options{Client: client, Write: true, Bytes: 1 << 20, Entries: 64, Cases: 4})
	require.NoError(t, err)
	require.NotNil(t, got.Trial)
	require.Equal(t, 4, got.Trial.Cases)
	require.Equal(t, 4, got.Trial.Deliverable, "%+v", got.Trial)
	require.Empty(t, got.Leftovers)
}
