package fhir_test

import (
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/table"
	"enbloc/mapping/term"
	artefacts "enbloc/schemas/fhir"
)

// TestViewDefinitions holds what SQL on FHIR v2 asks of the form of a
// ViewDefinition (sql-on-fhir.org/ig/2.0.0/StructureDefinition-ViewDefinition.html);
// what the views give is judged by testdata/peers/views.
func TestViewDefinitions(t *testing.T) {
	t.Parallel()
	views := 0
	for _, f := range artefacts.Views() {
		if !strings.HasSuffix(f.Name, ".json") {
			continue
		}
		views++
		var v struct {
			ResourceType, URL, Name, Status, Resource string
			Constant                                  []struct{ Name string }
			Select                                    []struct {
				Column []struct{ Name, Path, Type, Description string }
			}
		}
		require.NoError(t, json.Unmarshal(f.Body, &v), f.Name)
		require.Equal(t, "ViewDefinition", v.ResourceType)
		require.Equal(t, f.Name, v.Name+".json")
		require.Regexp(t, `^[A-Za-z][A-Za-z0-9_]*$`, v.Name, "sql-name")
		require.Equal(t, term.Base+"/ViewDefinition/"+strings.ReplaceAll(v.Name, "_", "-"), v.URL)
		require.NotEmpty(t, v.Status)
		require.NotEmpty(t, v.Resource)
		seen := map[string]bool{}
		for _, s := range v.Select {
			for _, c := range s.Column {
				require.Regexp(t, `^[A-Za-z][A-Za-z0-9_]*$`, c.Name, f.Name)
				require.False(t, seen[c.Name], "%s has %s twice", f.Name, c.Name)
				seen[c.Name] = true
				require.NotEmpty(t, c.Path, c.Name)
				require.NotEmpty(t, c.Type, c.Name)
				require.NotEmpty(t, c.Description, c.Name)
			}
		}
		for _, used := range regexp.MustCompile(`%([a-z]+)`).FindAllStringSubmatch(string(f.Body), -1) {
			require.True(t, slices.ContainsFunc(v.Constant, func(c struct{ Name string }) bool { return c.Name == used[1] }), "%s: %%%s", f.Name, used[1])
		}
	}
	require.Greater(t, views, 8)
}

// TestEveryExportedColumnIsViewedOrListed: a column that a record does not carry
// is named with its reason.
func TestEveryExportedColumnIsViewedOrListed(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile("../../testdata/peers/views/not-carried.json")
	require.NoError(t, err)
	var listed []struct{ Table, Column, Reason string }
	require.NoError(t, json.Unmarshal(raw, &listed))
	sql := map[string]string{}
	for _, f := range artefacts.Views() {
		sql[f.Name] = string(f.Body)
	}
	for _, x := range table.All() {
		if x == table.Deliveries {
			require.NotContains(t, sql, "delivery.sql", "a delivery is no FHIR")
			continue
		}
		for _, c := range x.Columns {
			i := slices.IndexFunc(listed, func(l struct{ Table, Column, Reason string }) bool { return l.Table == x.Name && l.Column == c.Name })
			if i >= 0 {
				require.NotEmpty(t, listed[i].Reason)
				continue
			}
			require.Regexp(t, `\b`+c.Name+`\b`, sql[x.Name+".sql"], "%s.%s", x.Name, c.Name)
		}
	}
}

// TestReportedSpellsEveryValue: who joins by code finds the word of the report.
func TestReportedSpellsEveryValue(t *testing.T) {
	t.Parallel()
	a, ok := artefacts.Find("CodeSystem", artefacts.Reported, false)
	require.True(t, ok)
	var s struct {
		Supplements string
		Concept     []struct {
			Code     string
			Property []struct{ Code, ValueString string }
		}
	}
	require.NoError(t, json.Unmarshal(a.JSON, &s))
	require.Equal(t, term.System, s.Supplements)
	words := map[string]string{}
	for _, c := range s.Concept {
		require.Len(t, c.Property, 1)
		words[c.Code] = c.Property[0].ValueString
	}
	for code, want := range map[string]string{
		"pt-pt1b-sm1": "pT1b-SM1", "paris-0-iia": "0-IIa", "technique-esd": "esd", "r10-metric-en-bloc": "R10.metric.en_bloc",
		"mark-second-hand": "second-hand", "agree-iiia": "IIIa", "organ-stomach": "stomach",
	} {
		require.Equal(t, want, words[code], code)
	}
}
