package fhir_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
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

// Whatever is made of an event names it: a server that refuses the AdverseEvent
// must be answered in the terms of the sender.
func TestAllPartsOfAnEventNameIt(t *testing.T) {
	t.Parallel()
	rep := gastricESD(t)
	rep.Events = []report.Event{bleeding(rep)}
	types := map[string]bool{}
	for _, r := range mapped(t, rep).Resources {
		if strings.HasPrefix(r.Role, "event/") {
			types[r.Type] = true
			require.NotEmpty(t, r.Pointers, r.Role)
			for _, at := range r.Pointers {
				require.True(t, strings.HasPrefix(at, "/events/0"), "%s: %s", r.Role, at)
			}
		}
	}
	require.Subset(t, slices.Collect(maps.Keys(types)), []string{"AdverseEvent", "Condition", "Observation"})
}
