package term_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/term"
)

// The CodeSystem holds what R4 requires of it (hl7.org/fhir/R4/codesystem.html:
// status and content; count is the number of concepts; every property used is
// declared).
func TestCodeSystem(t *testing.T) {
	t.Parallel()
	var cs struct {
		ResourceType, URL, Status, Content, ValueSet string
		Count                                        int
		Property                                     []struct{ Code, Type string }
		Concept                                      []struct {
			Code, Display, Definition string
			Property                  []struct{ Code, ValueCode string }
		}
	}
	require.NoError(t, json.Unmarshal(term.CodeSystem(), &cs))
	require.Equal(t, "CodeSystem", cs.ResourceType)
	require.Equal(t, term.System, cs.URL)
	require.Equal(t, "complete", cs.Content)
	require.NotEmpty(t, cs.Status)
	require.Len(t, cs.Concept, cs.Count)
	require.Len(t, term.Concepts(), cs.Count)
	for _, c := range cs.Concept {
		require.Equal(t, "group", c.Property[0].Code)
		require.NotEmpty(t, c.Property[0].ValueCode)
	}
}

func TestValueSetsHoldEveryConceptOnce(t *testing.T) {
	t.Parallel()
	sets, seen, urls := term.ValueSets(), map[string]bool{}, map[string]bool{}
	require.Len(t, sets, len(term.Groups())+1)
	for _, raw := range sets {
		var vs struct {
			ResourceType, ID, URL, Status string
			Compose                       struct {
				Include []struct {
					System  string
					Concept []struct{ Code, Display string }
				}
			}
		}
		require.NoError(t, json.Unmarshal(raw, &vs))
		require.Equal(t, "ValueSet", vs.ResourceType)
		require.False(t, urls[vs.URL])
		urls[vs.URL] = true
		require.LessOrEqual(t, len(vs.ID), 64, "R4 id")
		for _, c := range vs.Compose.Include[0].Concept {
			require.True(t, term.Known(term.System, c.Code, c.Display))
			require.False(t, seen[c.Code])
			seen[c.Code] = true
		}
	}
	require.Len(t, seen, len(term.Concepts()))
}

// Without a licence no code outside the Global Patient Set is shown; SNOMED CT
// and LOINC carry their notices.
func TestConceptMaps(t *testing.T) {
	t.Parallel()
	licence := map[string]term.Licence{}
	for _, c := range term.Codes() {
		licence[c.System+"|"+c.Code] = c.Licence
	}
	for _, licensed := range []bool{false, true} {
		needed := 0
		for _, raw := range term.ConceptMaps(licensed) {
			var cm struct {
				ResourceType, Status, Copyright string
				Group                           []struct {
					Source, Target string
					Element        []struct {
						Code   string
						Target []struct{ Code, Display, Equivalence string }
					}
				}
			}
			require.NoError(t, json.Unmarshal(raw, &cm))
			require.Equal(t, "ConceptMap", cm.ResourceType)
			g := cm.Group[0]
			require.Equal(t, term.System, g.Source)
			if g.Target == "http://snomed.info/sct" || g.Target == "http://loinc.org" {
				require.NotEmpty(t, cm.Copyright)
			}
			for _, e := range g.Element {
				for _, target := range e.Target {
					require.True(t, term.Known(g.Target, target.Code, target.Display))
					require.Contains(t, []string{"equivalent", "wider"}, target.Equivalence)
					if licence[g.Target+"|"+target.Code] == term.SNOMEDLicensed {
						needed++
					}
				}
			}
		}
		require.Equal(t, licensed, needed > 0)
	}
}

// The resources are the same bytes each time, so that they can be shipped.
func TestResourcesAreStable(t *testing.T) {
	t.Parallel()
	for range 3 {
		require.Equal(t, term.CodeSystem(), term.CodeSystem())
		require.Equal(t, term.ConceptMaps(true), term.ConceptMaps(true))
		require.Equal(t, term.ValueSets(), term.ValueSets())
	}
}
