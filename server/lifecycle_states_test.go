package server_test

import (
	"context"
	"encoding/json"
	"maps"
	"math/rand/v2"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/servertest"
)

// reportStatuses are the statuses of both reports in a graph.
func reportStatuses(t *testing.T, g graph.Graph) (endoscopy, pathology string) {
	t.Helper()
	for _, r := range g.Resources {
		var body struct{ Status string }
		require.NoError(t, json.Unmarshal(r.Body, &body))
		switch r.Role {
		case "report/endoscopy":
			endoscopy = body.Status
		case "report/pathology":
			pathology = body.Status
		}
	}
	return endoscopy, pathology
}

// graphAt is the record of one state of a case.
func graphAt(t *testing.T, s *servertest.Service, caseKey string, sequence int) graph.Graph {
	t.Helper()
	g, err := s.Intake.Graph(context.Background(), caseKey, sequence)
	require.NoError(t, err)
	return g
}

// Each document of a life is a new version of the same two reports, under the
// same keys, with a Provenance of its own that covers what it said, and one that
// covers what the rules answered about the case with it.
func TestLifeOfACase(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	provenances := map[string]bool{}
	keys := map[string]string{}
	for i, step := range newLife(t).steps() {
		receipt := s.MustAccept(step.path, step.body)
		require.Equal(t, i+1, receipt.Sequence)
		s.Settle()
		g := graphAt(t, s, receipt.Case, receipt.Sequence)
		endoscopy, pathology := reportStatuses(t, g)
		require.Equal(t, step.endoscopy, endoscopy, step.name)
		require.Equal(t, step.pathology, pathology, step.name)
		said, answered := 0, 0
		for _, r := range g.Resources {
			if known, ok := keys[r.Role]; ok {
				require.Equal(t, known, r.Key, r.Role)
			}
			keys[r.Role] = r.Key
			if r.Type == "Provenance" && !provenances[r.Key] {
				provenances[r.Key] = true
				if strings.HasPrefix(r.Role, "provenance/assessment/") {
					answered++
				} else {
					said++
				}
			}
		}
		require.Equal(t, 1, said, "Provenances that %s brought", step.name)
		if step.name == "withdrawn" {
			require.Zero(t, answered, "nothing follows from a withdrawn report")
		} else {
			require.Equal(t, 1, answered, step.name)
		}
		require.Len(t, s.Resources("Provenance", receipt.Case), len(provenances), step.name)
		for _, found := range s.Resources("DiagnosticReport", receipt.Case) {
			require.Contains(t, []any{step.endoscopy, step.pathology}, found["status"], step.name)
		}
	}
}

// A withdrawal voids everything that the case ever had, also what an earlier
// state had and the last has not.
func TestWithdrawalVoidsTheWholeCase(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	var caseKey string
	types := map[string]bool{}
	for _, step := range newLife(t).steps() {
		receipt := s.MustAccept(step.path, step.body)
		s.Settle()
		caseKey = receipt.Case
		for _, r := range graphAt(t, s, caseKey, receipt.Sequence).Resources {
			types[r.Type] = true
		}
	}
	void := 0
	for kind := range types {
		for _, resource := range s.Resources(kind, caseKey) {
			if kind == "Provenance" {
				continue
			}
			void++
			require.True(t, isVoid(t, kind, resource), "a %s of the case stands", kind)
		}
	}
	require.Greater(t, void, 100)
}

// isVoid reports whether a resource says that it was entered in error, in the
// way of its type.
func isVoid(t *testing.T, kind string, resource map[string]any) bool {
	t.Helper()
	raw, err := json.Marshal(resource)
	require.NoError(t, err)
	var r struct {
		Status             string
		Active             *bool
		VerificationStatus struct{ Coding []struct{ Code string } }
		Meta               struct{ Tag []struct{ Code string } }
	}
	require.NoError(t, json.Unmarshal(raw, &r))
	switch kind {
	case "Condition":
		return len(r.VerificationStatus.Coding) == 1 && r.VerificationStatus.Coding[0].Code == "entered-in-error"
	case "BodyStructure":
		return r.Active != nil && !*r.Active
	case "AdverseEvent":
		return slices.ContainsFunc(r.Meta.Tag, func(tag struct{ Code string }) bool { return tag.Code == "retracted" })
	}
	return r.Status == "entered-in-error"
}

// A case never moves to another patient: the same report for another patient
// is refused; withdrawn and sent anew it is another case, and nothing of the
// one refers to the other.
func TestWrongPatientIsAVoidAndANewCase(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	l := newLife(t)
	right := func(d map[string]any) {
		d["patient"].(map[string]any)["identifier"].(map[string]any)["value"] = "HTEST-P-RIGHT"
	}
	wrong := s.MustAccept("/cases", l.report(1, "signed", "", "2026-03-10T17:20:00+01:00", nil))
	refused := s.Post("/cases", l.report(2, "corrected", "Other patient.", "2026-03-11T08:00:00+01:00", right))
	require.Equal(t, http.StatusConflict, refused.Status)
	s.MustAccept("/cases", l.report(2, "withdrawn", "Entered for the wrong patient.", "2026-03-11T08:00:00+01:00", nil))

	anew := s.MustAccept("/cases", l.report(1, "signed", "", "2026-03-11T08:10:00+01:00", func(d map[string]any) {
		right(d)
		d["report_id"].(map[string]any)["value"] = "HTEST-R-RIGHT"
	}))
	require.NotEqual(t, wrong.Case, anew.Case)
	// Both cases have the order, and only one can still take histology.
	found := s.MustAccept("/histology", l.document(bleedHistology, func(d map[string]any) {
		var order struct{ Order any }
		require.NoError(t, json.Unmarshal(l.document(bleedReport, nil), &order))
		d["match"] = map[string]any{"order": order.Order}
		delete(d["results"].([]any)[0].(map[string]any), "accession")
	}))
	require.Equal(t, anew.Case, found.Case)
	s.Settle()

	old := map[string]bool{}
	for _, kind := range []string{"Observation", "Procedure", "DiagnosticReport", "Condition", "BodyStructure", "Specimen"} {
		for _, resource := range s.Resources(kind, wrong.Case) {
			require.True(t, isVoid(t, kind, resource), kind)
			old[kind+"/"+resource["id"].(string)] = true
		}
		for _, resource := range s.Resources(kind, anew.Case) {
			require.False(t, isVoid(t, kind, resource), kind)
		}
	}
	for _, kind := range []string{"Observation", "Procedure", "DiagnosticReport", "Condition", "Provenance"} {
		for _, resource := range s.Resources(kind, anew.Case) {
			raw, err := json.Marshal(resource)
			require.NoError(t, err)
			for _, hit := range literalReference.FindAllStringSubmatch(string(raw), -1) {
				require.False(t, old[hit[1]], "a %s of the new case refers to the old one", kind)
			}
		}
	}
}

var literalReference = regexp.MustCompile(`"reference":"([A-Za-z]+/[^"]+)"`)

// orders is how many orders of arrival are tried: few under the race detector,
// which is there for what runs at once, not for what comes after what.
func orders() uint64 {
	if testing.Short() {
		return 6
	}
	return 50
}

// Parts that come in any order, some of them twice, make the same record: the
// same resources with the same content, on the target and not only in the
// graph. Revisions of a part come in any order too. Those of the report come in
// theirs, as the report's sender counts them: one that comes after a later one is
// refused, and where it was never seen nobody can say what the later one changed.
func TestAnyOrderOfPartsMakesTheSameRecord(t *testing.T) {
	t.Parallel()
	l := newLife(t)
	steps := l.steps()
	parts := steps[:len(steps)-1] // all but the withdrawal, after which nothing is taken
	want := arrive(t, parts, nil)
	require.Greater(t, len(want), 100)
	for seed := range orders() {
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			t.Parallel()
			d := rand.New(rand.NewPCG(seed, 1)) //nolint:gosec // a test's order
			mixed := slices.Clone(parts)
			for range d.IntN(4) {
				mixed = append(mixed, parts[d.IntN(len(parts))])
			}
			d.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
			reportsInOrder(mixed, parts)
			got := arrive(t, mixed, d)
			require.Equal(t, slices.Sorted(maps.Keys(want)), slices.Sorted(maps.Keys(got)))
			for key, body := range want {
				require.JSONEq(t, body, got[key])
			}
		})
	}
}

// reportsInOrder gives the places of reports to their revisions in order, and
// those that are left to the revisions that come again.
func reportsInOrder(mixed, parts []step) {
	order := func(s step) int { return slices.IndexFunc(parts, func(p step) bool { return p.name == s.name }) }
	var places []int
	var first, again []step
	for i, s := range mixed {
		if s.path != "/cases" {
			continue
		}
		places = append(places, i)
		if slices.ContainsFunc(first, func(f step) bool { return f.name == s.name }) {
			again = append(again, s)
		} else {
			first = append(first, s)
		}
	}
	slices.SortFunc(first, func(a, b step) int { return order(a) - order(b) })
	for i, s := range append(first, again...) {
		mixed[places[i]] = s
	}
}

// arrive sends documents to a service of its own, delivers now and then if
// there is a dice, and returns the content of each resource on the target that
// the last state has, by role key.
func arrive(t *testing.T, parts []step, d *rand.Rand) map[string]string {
	t.Helper()
	s := servertest.Start(t, servertest.Options{})
	caseKey, last := "", 0
	for _, p := range parts {
		a := s.Post(p.path, p.body)
		require.Contains(t, []int{http.StatusAccepted, http.StatusConflict}, a.Status, "%s: %s", p.name, a.Body)
		var r struct {
			Case     string
			Sequence int
		}
		require.NoError(t, json.Unmarshal(a.Body, &r))
		if a.Status == http.StatusAccepted && r.Case != "" {
			caseKey, last = r.Case, max(last, r.Sequence)
		}
		if d == nil || d.IntN(3) == 0 {
			s.Settle()
		}
	}
	s.Settle()
	require.NotEmpty(t, caseKey)
	return contents(t, s, graphAt(t, s, caseKey, last))
}

// contents is what stands on the target for each resource of a graph: without
// id and version, and with every reference to another resource of the case
// written as its role key.
func contents(t *testing.T, s *servertest.Service, g graph.Graph) map[string]string {
	t.Helper()
	wanted, kinds := map[string]bool{}, map[string]bool{}
	for _, r := range g.Resources {
		wanted[r.Key], kinds[r.Type] = true, true
	}
	place, bodies := map[string]string{}, map[string]string{}
	for kind := range kinds {
		for _, resource := range s.Receiver.Resources(kind) {
			place[kind+"/"+resource["id"].(string)] = roleKeyIn(encoded(t, resource))
		}
	}
	for kind := range kinds {
		for _, resource := range s.Receiver.Resources(kind) {
			raw := encoded(t, resource)
			key := roleKeyIn(raw)
			if !wanted[key] {
				continue
			}
			require.Empty(t, bodies[key], "a role key stands twice")
			var tree map[string]any
			require.NoError(t, json.Unmarshal([]byte(raw), &tree))
			delete(tree, "id")
			delete(tree["meta"].(map[string]any), "versionId")
			delete(tree["meta"].(map[string]any), "lastUpdated")
			bodies[key] = literalReference.ReplaceAllStringFunc(encoded(t, tree), func(hit string) string {
				at := literalReference.FindStringSubmatch(hit)[1]
				if place[at] == "" {
					return `"reference":"somebody"` // patient, encounter, staff: ids of the receiver
				}
				return `"reference":"` + place[at] + `"`
			})
		}
	}
	require.Len(t, bodies, len(wanted))
	return bodies
}

func encoded(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	return string(raw)
}
