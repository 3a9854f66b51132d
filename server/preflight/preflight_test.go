package preflight_test

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
)

// checked runs a preflight against a practice receiver of a shape.
func checked(t testing.TB, shape practice.Shape) (preflight.Report, *practice.Receiver) {
	t.Helper()
	r := practice.New("/fhir")
	require.NoError(t, r.SeedHospital(1))
	r.Shape(shape)
	web := httptest.NewServer(r)
	t.Cleanup(web.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: web.URL + "/fhir", Timeout: 20 * time.Second})
	require.NoError(t, err)
	report, err := preflight.Run(context.Background(), preflight.Options{Client: client, Name: "practice", Bytes: 2 << 20, Entries: 64})
	require.NoError(t, err)
	return report, r
}

func statusOf(p preflight.Report, id string) preflight.Status {
	for _, c := range p.Checks {
		if c.ID == id {
			return c.Status
		}
	}
	return ""
}

// TestEveryServerGetsTheRungThatItCanHold gives each shape the rung of the
// ladder that its lacks leave, whatever it claims.
func TestEveryServerGetsTheRungThatItCanHold(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		shape practice.Shape
		rung  int
		first delivery.FirstWrite
	}{
		"all":                      {practice.Shape{Deletes: true}, delivery.RungConditionalCreate, delivery.WithCondition},
		"ids of ours only":         {practice.Shape{NoConditionalCreate: true}, delivery.RungClientIDs, delivery.WithClientID},
		"ids of its own":           {practice.Shape{NoClientIDs: true}, delivery.RungConditionalCreate, delivery.WithCondition},
		"conditional update only":  {practice.Shape{NoClientIDs: true, NoConditionalCreate: true, ConditionalUpdate: true}, delivery.RungConditionalUpdate, ""},
		"no condition at all":      {practice.Shape{NoClientIDs: true, IgnoresConditions: true}, delivery.RungSingle, delivery.AfterSearch},
		"no transaction":           {practice.Shape{NoTransaction: true}, delivery.RungSingle, delivery.WithCondition},
		"no transaction, no cond.": {practice.Shape{NoTransaction: true, NoConditionalCreate: true}, delivery.RungSingle, delivery.WithClientID},
		"not all or nothing":       {practice.Shape{NotAtomic: true}, delivery.RungSingle, delivery.WithCondition},
		"versions ignored":         {practice.Shape{IgnoresVersions: true}, delivery.RungConditionalCreate, delivery.WithCondition},
		"documents only":           {practice.Shape{OnlyDocuments: true}, delivery.RungDocument, delivery.AfterSearch},
		"read only":                {practice.Shape{ReadOnly: true}, delivery.RungFile, ""},
		"a liar without tx":        {practice.Shape{NoTransaction: true, NoClientIDs: true, Claims: true}, delivery.RungSingle, delivery.WithCondition},
		"a liar about conditions":  {practice.Shape{NoClientIDs: true, IgnoresConditions: true, Claims: true}, delivery.RungSingle, delivery.AfterSearch},
		"a liar who writes naught": {practice.Shape{ReadOnly: true, Claims: true}, delivery.RungFile, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, _ := checked(t, c.shape)
			require.Equal(t, c.rung, got.Rung.Number, "%s\n%v", got.Why, got.Checks)
			require.Equal(t, c.first, got.FirstWrite)
			require.True(t, got.Proven)
			require.Equal(t, c.rung != delivery.RungFile, got.Usable)
			require.NotEmpty(t, got.Why)
			require.True(t, strings.HasSuffix(got.Sentence, "."), got.Sentence)
			require.Equal(t, 1, strings.Count(got.Sentence, ". ")+1, "one sentence: %s", got.Sentence)
			if c.rung > delivery.RungConditionalCreate {
				require.NotEmpty(t, got.Lost)
				require.NotEmpty(t, got.Ask)
			}
		})
	}
}

func TestItTakesBackWhatItWrote(t *testing.T) {
	t.Parallel()
	got, r := checked(t, practice.Shape{Deletes: true})
	require.Empty(t, got.Leftovers)
	require.Equal(t, preflight.Pass, statusOf(got, "cleanup"))
	require.Empty(t, r.Resources("Observation"))
	require.Empty(t, r.Resources("AdverseEvent"))
	require.Empty(t, r.Resources("DocumentReference"))
	require.Len(t, r.Resources("Patient"), 1, "the hospital's own is as it was")

	got, r = checked(t, practice.Shape{})
	kept := 0
	for _, kind := range []string{"Observation", "AdverseEvent", "Provenance", "DocumentReference"} {
		for _, o := range r.Resources(kind) {
			kept++
			require.Contains(t, mustJSON(t, o), `"code":"HTEST"`)
			if kind == "Observation" {
				require.Equal(t, "entered-in-error", o["status"])
			}
		}
	}
	require.Len(t, got.Leftovers, kept)
	require.Equal(t, preflight.Warn, statusOf(got, "cleanup"))
}

func TestWhatSilentlyGoesWrongIsCaught(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		shape practice.Shape
		id    string
	}{
		"versions ignored":   {practice.Shape{IgnoresVersions: true}, "stale-version"},
		"conditions ignored": {practice.Shape{IgnoresConditions: true, Claims: true}, "conditional-create"},
		"half a transaction": {practice.Shape{NotAtomic: true}, "atomic"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			sound, _ := checked(t, practice.Shape{})
			require.Equal(t, preflight.Pass, statusOf(sound, c.id))
			got, _ := checked(t, c.shape)
			require.Equal(t, preflight.Fail, statusOf(got, c.id))
		})
	}
}

func TestATargetWithPatientsIsOnlyRead(t *testing.T) {
	t.Parallel()
	r := practice.New("/fhir")
	hidden := httptest.NewServer(withoutLabel(r))
	t.Cleanup(hidden.Close)
	client, err := fhirserver.New(fhirserver.Config{BaseURL: hidden.URL + "/fhir"})
	require.NoError(t, err)
	got, err := preflight.Run(context.Background(), preflight.Options{Client: client})
	require.NoError(t, err)
	require.Empty(t, r.Journal())
	require.False(t, got.Proven)
	require.True(t, got.Usable)
	require.Equal(t, delivery.RungConditionalCreate, got.Rung.Number)
	require.Contains(t, got.Sentence, "as far as it says of itself")
	require.Equal(t, preflight.Skip, statusOf(got, "canaries"))
}

func TestNobodyAtTheAddress(t *testing.T) {
	t.Parallel()
	for name, address := range map[string]string{"port": "http://127.0.0.1:1/fhir", "name": "http://nobody.invalid/fhir"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			client, err := fhirserver.New(fhirserver.Config{BaseURL: address})
			require.NoError(t, err)
			got, err := preflight.Run(context.Background(), preflight.Options{Client: client, Write: true})
			require.NoError(t, err)
			require.False(t, got.Usable)
			require.Equal(t, delivery.RungFile, got.Rung.Number)
			require.Contains(t, got.Sentence, "could not be reached")
		})
	}
}

func TestDriftIsWhatChanged(t *testing.T) {
	t.Parallel()
	was, _ := checked(t, practice.Shape{})
	same, _ := checked(t, practice.Shape{})
	same.Checks[0].Millis += 1000
	same.Target = was.Target // another port
	require.Empty(t, preflight.Drift(was, same))
	now, _ := checked(t, practice.Shape{NoTransaction: true})
	var what []string
	for _, c := range preflight.Drift(was, now) {
		what = append(what, c.What)
	}
	require.Subset(t, what, []string{"capability-hash", "rung", "transaction", "transaction-claimed"})
	require.NotContains(t, what, "atomic", "what was not tried says nothing")
}

// TestEveryFormSaysTheSame reads the three forms back by others' parsers.
func TestEveryFormSaysTheSame(t *testing.T) {
	t.Parallel()
	got, _ := checked(t, practice.Shape{IgnoresVersions: true})
	got.Drift = []preflight.Change{{What: "rung", Was: "a", Is: "<script>"}}
	var back preflight.Report
	require.NoError(t, json.Unmarshal([]byte(mustJSON(t, got)), &back))
	require.Equal(t, got, back)

	var junit bytes.Buffer
	require.NoError(t, got.WriteJUnit(&junit))
	var suites struct {
		Tests    int `xml:"tests,attr"`
		Failures int `xml:"failures,attr"`
		Cases    []struct {
			Class   string    `xml:"classname,attr"`
			Failure *struct{} `xml:"failure"`
		} `xml:"testsuite>testcase"`
	}
	require.NoError(t, xml.Unmarshal(junit.Bytes(), &suites))
	require.Len(t, suites.Cases, len(got.Checks))
	require.Equal(t, len(got.Checks), suites.Tests)
	require.Equal(t, got.Counts().Fail, suites.Failures)
	for i, c := range suites.Cases {
		require.Equal(t, statusOf(got, strings.TrimPrefix(c.Class, "preflight.")) == preflight.Fail, suites.Cases[i].Failure != nil)
	}

	var page bytes.Buffer
	require.NoError(t, got.WriteHTML(&page))
	require.NotContains(t, page.String(), "<script")
	require.NotContains(t, page.String(), "http-equiv")
	require.NotRegexp(t, `src=|url\(|@import|\son[a-z]+=`, page.String(), "it runs nothing and fetches nothing")
	for _, text := range append(append([]string{got.Why}, got.Lost...), got.Ask...) {
		require.Contains(t, page.String(), text)
	}
}

func mustJSON(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}
