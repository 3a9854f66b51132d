//go:build peers

package server_test

import (
	"encoding/json"
	"maps"
	"net/url"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/rebuild"
	"enbloc/server/servertest"
)

// reached is everything of a case that a reader gets who knows one report: the
// report with what it includes, level by level, what refers to that, and who
// wrote it. It uses FHIR's own ways only (hl7.org/fhir/R4/search.html#include).
func reached(t *testing.T, base, report string) []json.RawMessage {
	t.Helper()
	query := url.Values{"_id": {report}, "_count": {"500"}, "_include": {"DiagnosticReport:result", "DiagnosticReport:specimen", "DiagnosticReport:media"},
		"_include:iterate": {"Observation:has-member", "Observation:part-of", "Observation:focus", "Observation:specimen", "Observation:device",
			"Procedure:part-of", "Procedure:reason-reference"},
		// The containers of a specimen are its parts: they refer to it.
		"_revinclude": {"Provenance:target"}, "_revinclude:iterate": {"Specimen:parent"}}
	return everyPage(t, base+"/DiagnosticReport?"+query.Encode())
}

// everyPage reads a search to its end.
func everyPage(t *testing.T, address string) []json.RawMessage {
	t.Helper()
	var all []json.RawMessage
	for range 50 {
		var page struct {
			Link  []struct{ Relation, URL string }
			Entry []struct{ Resource json.RawMessage }
		}
		getJSON(t, address, &page)
		for _, e := range page.Entry {
			all = append(all, e.Resource)
		}
		next := ""
		for _, l := range page.Link {
			if l.Relation == "next" {
				next = l.URL
			}
		}
		if next == "" {
			return all
		}
		address = next
	}
	require.Fail(t, "a search that does not end")
	return nil
}

// What a real server gives back by $everything of the patient is read into the
// report's facts again, and they are those that were sent: nothing is lost on
// the way there or back. What $everything leaves out, the Provenances, comes
// with the reports by _revinclude.
func TestWhatTheServerReturnsIsTheReport(t *testing.T) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start HAPI and give its base URL in ENBLOC_TEST_HAPI")
	s := servertest.Start(t, servertest.Options{Server: base})
	cases := casesOfARun(t, 8)
	for i := range cases {
		// A patient of each case's own, so that $everything is the case.
		cases[i].c.Report.Patient.Identifier.System = cases[i].c.Report.SourceSystem + "/patient"
		receipt := s.MustAccept("/cases", cases[i].report(t))
		for _, part := range cases[i].later(t) {
			s.MustAccept(part.path, part.body)
		}
		s.Settle()

		var reports, all []json.RawMessage
		reports = hospitals[0].search(t, base, "DiagnosticReport", receipt.Case)
		require.NotEmpty(t, reports)
		var subject struct{ Subject struct{ Reference string } }
		require.NoError(t, json.Unmarshal(reports[0], &subject))
		all = everyPage(t, base+"/"+subject.Subject.Reference+"/$everything?_count=500")
		for _, r := range reports {
			all = append(all, reached(t, base, idIn(t, r))...)
		}
		record, err := rebuild.FromServer(once(t, all))
		require.NoError(t, err)
		back, err := record.Report()
		require.NoError(t, err)
		want, err := rebuild.Facts(cases[i].c.Merged())
		require.NoError(t, err)
		got, err := rebuild.Facts(back)
		require.NoError(t, err)
		require.Equal(t, indented(t, want), indented(t, got), "case %d", i)
	}
}

// The reports alone, with what they include, hold the facts of lesions and
// histology: a reader needs no search by our keys.
func TestTheReportLeadsToItsFacts(t *testing.T) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start HAPI and give its base URL in ENBLOC_TEST_HAPI")
	s := servertest.Start(t, servertest.Options{Server: base})
	for _, c := range casesOfARun(t, 4) {
		receipt := s.MustAccept("/cases", c.report(t))
		for _, part := range c.later(t) {
			s.MustAccept(part.path, part.body)
		}
		s.Settle()
		var all []json.RawMessage
		for _, r := range hospitals[0].search(t, base, "DiagnosticReport", receipt.Case) {
			all = append(all, reached(t, base, idIn(t, r))...)
		}
		record, err := rebuild.FromServer(once(t, all))
		require.NoError(t, err)
		back, err := record.Report()
		require.NoError(t, err)
		want, err := rebuild.Facts(c.c.Merged())
		require.NoError(t, err)
		got, err := rebuild.Facts(back)
		require.NoError(t, err)
		require.Equal(t, len(want.Lesions), len(got.Lesions))
		for i := range want.Lesions {
			require.Equal(t, indented(t, want.Lesions[i].Examination), indented(t, got.Lesions[i].Examination))
			require.Equal(t, indented(t, want.Lesions[i].Histology), indented(t, got.Lesions[i].Histology))
			require.Equal(t, indented(t, want.Lesions[i].Specimen), indented(t, got.Lesions[i].Specimen))
		}
	}
}

// once keeps one copy of each resource, in the order in which they came.
func once(t *testing.T, all []json.RawMessage) []json.RawMessage {
	t.Helper()
	at := map[string]int{}
	var out []json.RawMessage
	for _, raw := range all {
		var r struct{ ResourceType, ID string }
		require.NoError(t, json.Unmarshal(raw, &r))
		name := r.ResourceType + "/" + r.ID
		if i, twice := at[name]; twice {
			out[i] = raw
			continue
		}
		at[name] = len(out)
		out = append(out, raw)
	}
	require.NotEmpty(t, slices.Collect(maps.Keys(at)))
	return out
}

func indented(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.MarshalIndent(v, "", " ")
	require.NoError(t, err)
	return string(raw)
}
