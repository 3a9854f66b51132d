package preflight_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
)

// picky stands before a receiver and refuses every write that holds an
// Observation with a code, as a server does that has a rule of its own about it.
type picky struct {
	next http.Handler
	// code of the Observation that is not wanted.
	code string
	// path is the element that the answer names; empty: it names nothing.
	path string
}

func (p picky) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	body, _ := io.ReadAll(req.Body)
	req.Body = io.NopCloser(bytes.NewReader(body))
	place, found := p.place(body)
	if !found || req.Method == http.MethodGet || strings.HasSuffix(req.URL.Path, "_search") {
		p.next.ServeHTTP(w, req)
		return
	}
	issue := map[string]any{"severity": "error", "code": "business-rule", "diagnostics": "HTEST-PAT-0001 is quoted here"}
	if p.path != "" {
		issue["expression"] = []string{place + "." + p.path}
	}
	says(http.StatusUnprocessableEntity, map[string]any{"resourceType": "OperationOutcome", "issue": []any{issue}})(w, req)
}

// place is where it is in a write.
func (p picky) place(body []byte) (place string, found bool) {
	var b struct {
		Entry []struct{ Resource json.RawMessage }
	}
	code := []byte(`"code":"` + p.code + `"`)
	if json.Unmarshal(body, &b) != nil {
		return "", false
	}
	for i, e := range b.Entry {
		if bytes.Contains(e.Resource, code) {
			return fmt.Sprintf("Bundle.entry[%d].resource.ofType(Observation)", i), true
		}
	}
	return "Observation", bytes.Contains(body, code)
}

// few cases show what 20 do, in less time.
const few = 6

// triedOn runs a preflight against a receiver behind something.
func triedOn(t testing.TB, shape practice.Shape, behind func(http.Handler) http.Handler, change ...func(*preflight.Options)) (preflight.Report, *practice.Receiver) {
	t.Helper()
	r := practice.New("/fhir")
	require.NoError(t, r.SeedHospital(1))
	r.Shape(shape)
	web := httptest.NewServer(behind(r))
	t.Cleanup(web.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL + "/fhir", Timeout: 20 * time.Second})
	require.NoError(t, err)
	o := preflight.Options{Client: client, Write: true, Bytes: 1 << 20, Entries: 64, Cases: few}
	for _, c := range change {
		c(&o)
	}
	report, err := preflight.Run(context.Background(), o)
	require.NoError(t, err)
	return report, r
}

func plainly(next http.Handler) http.Handler { return next }

// requireOnlyTheHospital makes sure that nothing of a trial is left.
func requireOnlyTheHospital(t testing.TB, r *practice.Receiver) {
	t.Helper()
	for _, kind := range []string{"Device", "BodyStructure", "Condition", "Specimen", "Procedure", "MedicationAdministration", "Observation", "Media",
		"AdverseEvent", "ServiceRequest", "DiagnosticReport", "Provenance", "DocumentReference"} {
		require.Empty(t, r.Resources(kind))
	}
	require.Len(t, r.Resources("Patient"), 1, "no patient is ever made")
}

// By every rung that writes whole records all cases go, and none stays, although
// what refers to each other in a circle is deleted by no server as it is but in one
// transaction.
func TestAllInventedCasesCanBeDelivered(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		shape practice.Shape
		cases int
		stays bool
	}{
		"ids of ours":               {practice.Shape{Deletes: true}, preflight.DefaultCases, false},
		"conditional create, small": {practice.Shape{Deletes: true, NoClientIDs: true, MostEntries: 20}, few, false},
		"single requests":           {practice.Shape{Deletes: true, NoTransaction: true}, 2, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, r := triedOn(t, c.shape, plainly, func(o *preflight.Options) { o.Cases = c.cases })
			require.NotNil(t, got.Trial, foundOf(got, "cases"))
			require.Equal(t, preflight.Trial{Cases: c.cases, Deliverable: c.cases, By: preflight.ByWriting, Refusals: []preflight.Refusal{}}, *got.Trial)
			require.Equal(t, preflight.Pass, statusOf(got, "cases"))
			require.Contains(t, got.Sentence, fmt.Sprintf("; of %d invented cases %d can be delivered", c.cases, c.cases))
			require.Equal(t, c.stays, len(got.Leftovers) > 0)
			for _, l := range got.Leftovers {
				require.True(t, l.Marked, "%s/%s", l.Type, l.ID)
			}
			if !c.stays {
				requireOnlyTheHospital(t, r)
			}
			require.Len(t, r.Resources("Patient"), 1, "no patient is ever made")
			whole := 0
			for _, w := range r.Journal() {
				require.Contains(t, string(w.Body), "HTEST", "all of it is invented and says so")
				if w.Type == "DiagnosticReport" {
					whole++
					require.Contains(t, string(w.Body), got.Run, "and names its run")
				}
			}
			require.GreaterOrEqual(t, whole, c.cases)
		})
	}
}

// What a target refuses is named by type, element and field of the report,
// whether it says itself which resource it means or not. Three of the few cases
// have a prothrombin time.
func TestWhatIsRefusedIsNamed(t *testing.T) {
	t.Parallel()
	for name, path := range map[string]string{"named": "value", "not named": ""} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, r := triedOn(t, practice.Shape{Deletes: true}, func(next http.Handler) http.Handler { return picky{next, "inr", path} })
			refusal := preflight.Refusal{Cases: 3, Type: "Observation", Report: []string{"/before/inr"}, Reason: delivery.Refused, Code: "business-rule"}
			if path != "" {
				refusal.Path = "Observation.value"
			}
			require.Equal(t, &preflight.Trial{Cases: few, Deliverable: few - 3, By: preflight.ByWriting, Refusals: []preflight.Refusal{refusal}}, got.Trial)
			require.Equal(t, preflight.Warn, statusOf(got, "cases"))
			require.Contains(t, foundOf(got, "cases"), "/before/inr")
			require.Contains(t, got.Sentence, "; of 6 invented cases 3 can be delivered")
			require.Empty(t, got.Leftovers)
			requireOnlyTheHospital(t, r)

			for form, write := range map[string]func(io.Writer) error{"html": got.WriteHTML, "junit": got.WriteJUnit,
				"json": func(w io.Writer) error { return json.NewEncoder(w).Encode(got) }} {
				var b bytes.Buffer
				require.NoError(t, write(&b), form)
				require.Contains(t, b.String(), "Observation", form)
				require.Contains(t, b.String(), "/before/inr", form)
				require.NotContains(t, b.String(), "HTEST-PAT", form)
			}
		})
	}
}

// A server that takes nothing of a case fails the check, and is told apart from
// one for which there was no time.
func TestNoCaseCanBeDelivered(t *testing.T) {
	t.Parallel()
	got, _ := triedOn(t, practice.Shape{Deletes: true}, func(next http.Handler) http.Handler { return picky{next, "r8-gastric-nes", "code"} },
		func(o *preflight.Options) { o.Cases = 1 })
	require.Equal(t, 0, got.Trial.Deliverable)
	require.Equal(t, 1, got.Trial.Cases)
	require.Equal(t, preflight.Fail, statusOf(got, "cases"))
	require.False(t, got.Usable)
	require.Contains(t, got.Sentence, "not one of the invented cases")
	require.Equal(t, 1, strings.Count(got.Sentence, ". ")+1, "one sentence: %s", got.Sentence)
}

// A server that deletes nothing is only asked, where it can be asked, and
// stores nothing of the cases.
func TestWithoutDeleteTheServerIsAsked(t *testing.T) {
	t.Parallel()
	got, r := triedOn(t, practice.Shape{}, plainly)
	require.Nil(t, got.Trial)
	require.Equal(t, preflight.Skip, statusOf(got, "cases"))
	require.NotContains(t, got.Sentence, "invented cases")
	require.Empty(t, r.Resources("Procedure"))

	var asked []map[string]any
	got, r = triedOn(t, practice.Shape{}, func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			if !strings.HasSuffix(req.URL.Path, "/$validate") {
				next.ServeHTTP(w, req)
				return
			}
			var tree map[string]any
			_ = json.NewDecoder(req.Body).Decode(&tree)
			asked = append(asked, tree)
			bad := map[string]any{"severity": "error", "code": "structure", "expression": []string{"Specimen.collection"}}
			if tree["resourceType"] != "Specimen" && tree["status"] != "htest-no-such-status" {
				bad["severity"] = "warning"
			}
			says(http.StatusOK, map[string]any{"resourceType": "OperationOutcome", "issue": []any{bad}})(w, req)
		})
	})
	require.NotNil(t, got.Trial, foundOf(got, "cases"))
	require.Equal(t, preflight.ByValidating, got.Trial.By)
	require.Equal(t, few, got.Trial.Cases)
	require.Zero(t, got.Trial.Deliverable, "each has a specimen")
	require.False(t, got.Usable)
	require.Contains(t, got.Sentence, "by $validate, so nothing can be delivered")
	require.True(t, slices.ContainsFunc(got.Trial.Refusals, func(f preflight.Refusal) bool {
		return f.Type == "Specimen" && f.Path == "Specimen.collection" && f.Code == "structure" && len(f.Report) > 0
	}), "%v", got.Trial.Refusals)
	require.Empty(t, r.Resources("Procedure"))
	require.Greater(t, len(asked), 80*few, "each resource of each case")
	for _, tree := range asked {
		raw := mustJSON(t, tree)
		require.NotContains(t, raw, "urn:uuid:")
		require.NotContains(t, raw, "?identifier=")
	}
}

// The test patient is whom the cases are filed under, and nobody else; nothing
// is changed about that patient.
func TestCasesAreFiledUnderTheTestPatient(t *testing.T) {
	t.Parallel()
	got, r := triedOn(t, practice.Shape{Deletes: true}, plainly, func(o *preflight.Options) {
		o.TestPatient = practice.PatientSystem + "|HTEST-PAT-0001"
	})
	require.Equal(t, few, got.Trial.Deliverable, "%v", got.Trial.Refusals)
	patient := r.Resources("Patient")[0]
	subjects := map[any]bool{}
	for _, w := range r.Journal() {
		var o struct{ Subject map[string]any }
		require.NoError(t, json.Unmarshal(w.Body, &o))
		if w.Type == "Procedure" {
			subjects[o.Subject["reference"]] = true
		}
	}
	require.Equal(t, map[any]bool{"Patient/" + patient["id"].(string): true}, subjects)
	require.Equal(t, "1", patient["meta"].(map[string]any)["versionId"])
}

// Cases go as the site has set it: in its dressing, and not under its key.
func TestCasesAreMappedAsTheSiteMapsThem(t *testing.T) {
	t.Parallel()
	pipeline := mapping.New([]byte("HTEST key of a site, no secret"))
	var err error
	all := dress.All()
	i := slices.IndexFunc(all, func(d dress.Dressing) bool { return d.Document })
	require.GreaterOrEqual(t, i, 0)
	pipeline.Dress, err = dress.Named(all[i].Name)
	require.NoError(t, err)
	got, r := triedOn(t, practice.Shape{Deletes: true}, plainly, func(o *preflight.Options) { o.Pipeline = &pipeline })
	require.Equal(t, few, got.Trial.Deliverable, "%v", got.Trial.Refusals)
	documents := 0
	for _, w := range r.Journal() {
		if w.Type == "DocumentReference" && strings.Contains(string(w.Body), "Record of the resection") {
			documents++
		}
		require.NotEqual(t, "Procedure", w.Type)
	}
	require.Equal(t, few, documents)
	requireOnlyTheHospital(t, r)
}
