package fhir_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestTheGraphNamesTheSendersPlaces holds the map from role to JSON
// Pointer to a few places that were read off the example by eye.
func TestTheGraphNamesTheSendersPlaces(t *testing.T) {
	t.Parallel()
	g := mapped(t, gastricESD(t))
	places := map[string][]string{}
	for _, r := range g.Resources {
		places[r.Role] = r.Pointers
	}
	for role, want := range map[string]string{
		"lesion/1/examination/lesion-size-long":     "/lesions/0/examination/size_long_mm",
		"lesion/1/resection-facts/resection-step/2": "/lesions/0/resection/phases/1",
		"lesion/1/resection":                        "/lesions/0/resection",
		"lesion/1/condition":                        "/lesions/0",
		"before/age-at-session":                     "/patient/age_y",
		"sedation/1":                                "/before/sedation",
		"session":                                   "/session",
	} {
		require.Equal(t, []string{want}, places[role], role)
	}
	require.Empty(t, places["report/endoscopy"], "made of everything, so of no place")
	require.NotEmpty(t, g.Born.From)
	require.Less(t, g.Born.From, g.Born.To)
}
