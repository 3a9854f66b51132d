//go:build peers

package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/mapping/report"
	"enbloc/mapping/sample"
	"enbloc/server/servertest"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// hospital is a FHIR server that others wrote.
type hospital struct {
	name string // of the environment variable that holds its base URL
	// loses says why values may come back other than they were sent.
	loses string
	// onePage is true where a search gives no link to its next page, so that
	// everything has to be asked for at once.
	onePage bool
	// looksUp is true where a search inside a reference becomes a link.
	looksUp bool
}

// The three makers. What they do differently, as far as it reaches this test:
//
//	                       HAPI          Helios        Medplum in memory
//	transaction            atomic        atomic        entry by entry
//	stale ifMatch in it    409           400           200, the entry 412
//	version of a resource  1, 2, …       1, 2, …       a UUID
//	equal update           no version    new version   new version
//	search by POST         yes           yes           400, so by GET
//	next page              link          link          none
//	search in a reference  a link        a link        stays a search
//	1.50                   1.50          1.50          1.5
var hospitals = []hospital{
	{name: "ENBLOC_TEST_HAPI", looksUp: true},
	{name: "ENBLOC_TEST_HELIOS", looksUp: true},
	{name: "ENBLOC_TEST_MEDPLUM", loses: "decimals come back without their last zeros", onePage: true},
}

// many is the number of cases that go to each server.
const many = 20

// Twenty cases go into a real server over the whole way: HTTP, store, queue,
// delivery. Replayed, amended with histology and with a late event, each stays
// one case: one report per owner, and of every type exactly what was mapped.
func TestTwentyCasesStandOnceInARealServer(t *testing.T) {
	for _, h := range hospitals {
		t.Run(h.name, func(t *testing.T) {
			base := os.Getenv(h.name)
			require.NotEmpty(t, base, "start the server and give its base URL in %s", h.name)
			s := servertest.Start(t, servertest.Options{Server: base, LooksUp: h.looksUp})
			cases := casesOfARun(t, many)

			keys := make([]string, len(cases))
			for i, c := range cases {
				receipt := s.MustAccept("/cases", c.report(t))
				keys[i] = receipt.Case
			}
			s.Settle()
			requireStanding(t, s, base, h, keys)

			for _, c := range cases { // the same again
				s.MustAccept("/cases", c.report(t))
			}
			for i, c := range cases { // histology, and whatever happened later
				for _, part := range c.later(t) {
					receipt := s.MustAccept(part.path, part.body)
					require.Equal(t, keys[i], receipt.Case)
				}
			}
			s.Settle()
			requireStanding(t, s, base, h, keys)
			written := versions(t, s, base, h, keys[0])

			for _, c := range cases { // and everything once more
				for _, part := range c.later(t) {
					s.MustAccept(part.path, part.body)
				}
			}
			s.Settle()
			requireStanding(t, s, base, h, keys)
			require.Equal(t, written, versions(t, s, base, h, keys[0]), "a replay writes no version")
		})
	}
}

// oneRun is a sample case whose sender exists in this run only, so that one
// server serves many tests.
type oneRun struct{ c sample.Case }

func casesOfARun(t *testing.T, n int) []oneRun {
	t.Helper()
	sender := "https://hospital.example/systems/" + uuid.NewString()
	var cases []oneRun
	late, histology := false, false
	for seed := uint64(1); len(cases) < n; seed++ {
		c := sample.Make(seed)
		if c.Report.Status == report.Withdrawn || c.Report.Status == report.Draft {
			continue
		}
		c.Report.SourceSystem = sender
		c.Report.ReportID.System = sender
		for i := range c.Histology {
			rematch(&c.Histology[i].Part, sender, c.Report.ReportID)
		}
		for i := range c.Events {
			rematch(&c.Events[i].Part, sender, c.Report.ReportID)
		}
		late, histology = late || len(c.Events) > 0, histology || len(c.Histology) > 0
		if len(cases) == n-1 && !(late && histology) {
			continue
		}
		cases = append(cases, oneRun{c})
	}
	return cases
}

func rematch(p *report.Part, sender string, id report.Identifier) {
	p.SourceSystem, p.PartID.System = sender, sender
	p.Match = report.Match{ReportID: &id}
}

func (r oneRun) report(t *testing.T) []byte {
	t.Helper()
	body, err := json.Marshal(r.c.Report)
	require.NoError(t, err)
	return body
}

type laterPart struct {
	path string
	body []byte
}

func (r oneRun) later(t *testing.T) []laterPart {
	t.Helper()
	var parts []laterPart
	add := func(path string, document any) {
		body, err := json.Marshal(document)
		require.NoError(t, err)
		parts = append(parts, laterPart{path, body})
	}
	for _, p := range r.c.Histology {
		add("/histology", p)
	}
	for _, p := range r.c.Events {
		add("/events", p)
	}
	return parts
}

// requireStanding compares what the server holds of each case with the graph
// of its last state, type by type, and demands that every row was read back
// equal.
func requireStanding(t *testing.T, s *servertest.Service, base string, h hospital, keys []string) {
	t.Helper()
	rows, err := s.Store.Deliveries(context.Background(), store.DeliveryQuery{Limit: 10_000})
	require.NoError(t, err)
	for _, row := range rows {
		if h.loses != "" && row.State == store.DeliveredWithDifferences {
			continue
		}
		require.Contains(t, []store.DeliveryState{store.Delivered, store.Superseded}, row.State,
			"%s state %d: %s %s %s", row.CaseKey, row.Sequence, row.Reason, row.Explanation, row.Details)
	}
	for _, key := range keys {
		found, err := s.Store.Case(context.Background(), key)
		require.NoError(t, err)
		g, err := s.Intake.Graph(context.Background(), key, found.Sequence)
		require.NoError(t, err)
		want := map[string]int{}
		for _, r := range g.Resources {
			if !r.Shared {
				want[r.Type]++
			}
		}
		got := map[string]int{}
		reports := map[string]int{}
		for _, kind := range slices.Sorted(mapKeys(want)) {
			for _, hit := range h.search(t, base, kind, key) {
				// An answer that no longer follows once histology is there stays
				// as a voided version of itself.
				if bytes.Contains(hit, []byte(`"status":"entered-in-error"`)) || bytes.Contains(hit, []byte(`"status": "entered-in-error"`)) {
					continue
				}
				got[kind]++
				if kind == "DiagnosticReport" {
					reports[codeOf(t, hit)]++
				}
			}
		}
		// Provenances of earlier states stay.
		require.GreaterOrEqual(t, got["Provenance"], want["Provenance"])
		got["Provenance"] = want["Provenance"]
		require.Equal(t, want, got, "case %s", key)
		for code, n := range reports {
			require.Equal(t, 1, n, "reports with code %s", code)
		}
	}
}

func mapKeys(m map[string]int) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

func clientOf(t *testing.T, base string) *fhirserver.Client {
	t.Helper()
	client, err := fhirserver.New(fhirserver.Config{BaseURL: base, Timeout: time.Minute, SearchInURL: true})
	require.NoError(t, err)
	return client
}

// search gives every resource of a type that carries the tag of a case.
func (h hospital) search(t *testing.T, base, kind, caseKey string) []json.RawMessage {
	t.Helper()
	if h.onePage {
		return searchOnce(t, base, kind, caseKey)
	}
	hits, a := clientOf(t, base).Search(context.Background(), fhirserver.Query{
		Type: kind, Param: "_tag", Values: []string{fhirserver.Token(graph.CaseKeySystem, caseKey)},
	})
	require.NoError(t, a.Err)
	require.Equal(t, http.StatusOK, a.Status, "searching %s", kind)
	return hits
}

// searchOnce asks for a page so large that it holds every case there is.
func searchOnce(t *testing.T, base, kind, caseKey string) []json.RawMessage {
	t.Helper()
	const most = 1000
	query := url.Values{"_tag": {fhirserver.Token(graph.CaseKeySystem, caseKey)}, "_count": {strconv.Itoa(most)}}
	var page struct {
		Entry []struct{ Resource json.RawMessage }
	}
	getJSON(t, base+"/"+kind+"?"+query.Encode(), &page)
	require.Less(t, len(page.Entry), most, "a full page may have hidden more")
	hits := make([]json.RawMessage, len(page.Entry))
	for i, e := range page.Entry {
		hits[i] = e.Resource
	}
	return hits
}

// getJSON reads an answer of 200 from a server, past any cache of it.
func getJSON(t *testing.T, address string, out any) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	require.NoError(t, err)
	req.Header.Set("Accept", "application/fhir+json")
	req.Header.Set("Cache-Control", "no-cache")
	res, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer res.Body.Close() //nolint:errcheck // read to its end
	require.Equal(t, http.StatusOK, res.StatusCode)
	require.NoError(t, json.NewDecoder(res.Body).Decode(out))
}

func codeOf(t *testing.T, resource []byte) string {
	t.Helper()
	var r struct {
		Code struct {
			Coding []struct{ System, Code string }
		}
	}
	require.NoError(t, json.NewDecoder(bytes.NewReader(resource)).Decode(&r))
	require.NotEmpty(t, r.Code.Coding)
	return fmt.Sprint(r.Code.Coding[0])
}

// versions are the versions at which every resource of a case stands.
func versions(t *testing.T, s *servertest.Service, base string, h hospital, key string) map[string]string {
	t.Helper()
	found, err := s.Store.Case(context.Background(), key)
	require.NoError(t, err)
	g, err := s.Intake.Graph(context.Background(), key, found.Sequence)
	require.NoError(t, err)
	kinds := map[string]int{}
	for _, r := range g.Resources {
		kinds[r.Type]++
	}
	out := map[string]string{}
	for kind := range kinds {
		for _, hit := range h.search(t, base, kind, key) {
			m, err := fhirserver.ReadMeta(hit)
			require.NoError(t, err)
			out[kind+"/"+m.ID] = m.Version
		}
	}
	require.NotEmpty(t, out)
	return out
}
