package fhir_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/mapping/sample"
	published "enbloc/schemas/fhir"
)

// parents are profiles that only others are built on.
var parents = map[string]bool{"enbloc-panel": true}

// unclaimed are the types for which we publish no profile.
var unclaimed = map[string]bool{"Device": true, "Media": true, "MedicationAdministration": true, "Provenance": true, "ServiceRequest": true}

// claims are the profiles that a resource claims.
func claims(t *testing.T, r graph.Resource) []string {
	t.Helper()
	var body struct{ Meta struct{ Profile []string } }
	require.NoError(t, json.Unmarshal(r.Body, &body))
	return body.Meta.Profile
}

// Every resource of a type that we describe claims one profile, which is
// published and is of its type; and every profile that is not only a parent is
// claimed by some case. That the resources follow their profiles is for HL7's
// validator to say.
func TestClaims(t *testing.T) {
	t.Parallel()
	book, seen := assess.DefaultBook(), map[string]bool{}
	for i, c := range sample.Cover(sample.CoverAll) {
		rep := c.Merged()
		g, err := fhir.Map(rep, book.Assess(rep), options())
		require.NoError(t, err, "case %d", i)
		for _, r := range g.Resources {
			claimed := claims(t, r)
			if unclaimed[r.Type] || len(claimed) == 0 && strings.Contains(string(r.Body), `"retracted"`) {
				require.Empty(t, claimed, r.Role)
				continue
			}
			require.Len(t, claimed, 1, r.Role)
			id := claimed[0][strings.LastIndexByte(claimed[0], '/')+1:]
			profile, ok := published.Find("StructureDefinition", id, false)
			require.True(t, ok, claimed[0])
			require.Equal(t, profile.URL, claimed[0])
			var of struct{ Type string }
			require.NoError(t, json.Unmarshal(profile.JSON, &of))
			require.Equal(t, r.Type, of.Type, r.Role)
			seen[id] = true
		}
	}
	for _, a := range published.All(false) {
		if a.Type == "StructureDefinition" && !parents[a.ID] {
			require.True(t, seen[a.ID], "no case claims %s", a.ID)
		}
	}
}

func TestNoClaimsWhereTheSiteWantsNone(t *testing.T) {
	t.Parallel()
	opt := options()
	opt.NoProfiles = true
	g, err := fhir.Map(gastricESD(t), nil, opt)
	require.NoError(t, err)
	require.NotContains(t, string(fhir.Bundle(g)), `"profile"`)
}
