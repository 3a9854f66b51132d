package preflight_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping"
	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/preflight"
	"enbloc/server/target/fhirserver"
)

// signing is a source of tokens with a key of a kind.
type signing string

func (s signing) Token(context.Context) (string, error) { return "HTEST", nil }
func (s signing) Refused(string)                        {}
func (s signing) Grant() fhirserver.Grant               { return fhirserver.Grant{} }
func (s signing) Algorithm() string                     { return string(s) }

// Whether the server takes the algorithm of our key is said before the first
// sign-in fails of it.
func TestTheAlgorithmOfOurKey(t *testing.T) {
	t.Parallel()
	asked := func(ours string, theirs ...string) preflight.Report {
		described := map[string]any{"token_endpoint": "https://example.org/token", "token_endpoint_auth_signing_alg_values_supported": theirs}
		got, _ := triedOn(t, practice.Shape{Deletes: true}, func(next http.Handler) http.Handler {
			mux := http.NewServeMux()
			mux.Handle("/fhir/.well-known/smart-configuration", says(http.StatusOK, described))
			mux.Handle("/", withoutLabel(next))
			return mux
		}, func(o *preflight.Options) {
			o.Cases, o.Write = 0, false
			config := fhirserver.Config{BaseURL: o.Client.BaseURL()}
			if ours != "" {
				config.Tokens = signing(ours)
			}
			var err error
			o.Client, err = fhirserver.New(config)
			require.NoError(t, err)
		})
		return got
	}
	got := asked("ES384", "RS384", "ES384")
	require.Equal(t, preflight.Info, statusOf(got, "smart"))
	require.Contains(t, foundOf(got, "smart"), "Ours, ES384, is among them")
	got = asked("ES384", "RS384")
	require.Equal(t, preflight.Warn, statusOf(got, "smart"))
	require.Contains(t, foundOf(got, "smart"), "signs by ES384, which is not among them")
	for _, got := range []preflight.Report{asked("ES384"), asked("", "RS384")} {
		require.Equal(t, preflight.Info, statusOf(got, "smart"))
		require.NotContains(t, foundOf(got, "smart"), "among them")
	}
}

// stated is a receiver whose statement is changed on its way.
func stated(t testing.TB, change func(statement map[string]any)) preflight.Report {
	t.Helper()
	got, _ := triedOn(t, practice.Shape{Deletes: true}, func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			if !strings.HasSuffix(req.URL.Path, "/metadata") {
				next.ServeHTTP(w, req)
				return
			}
			kept := httptest.NewRecorder()
			next.ServeHTTP(kept, req)
			var statement map[string]any
			_ = json.Unmarshal(kept.Body.Bytes(), &statement)
			change(statement)
			says(http.StatusOK, statement)(w, req)
		})
	}, func(o *preflight.Options) { o.Cases, o.Write = 0, false })
	return got
}

func TestFormatsThatTheServerNames(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		named []string
		want  preflight.Status
	}{
		"json": {[]string{"xml", "json"}, preflight.Pass}, "with a charset": {[]string{"application/fhir+json; charset=utf-8"}, preflight.Pass},
		"xml": {[]string{"xml", "application/fhir+xml"}, preflight.Fail}, "none": {nil, preflight.Warn},
	} {
		got := stated(t, func(s map[string]any) { s["format"] = c.named })
		require.Equal(t, c.want, statusOf(got, "formats"), name)
		require.Equal(t, stated(t, func(map[string]any) {}).CapabilityHash, got.CapabilityHash, "what was kept before formats were read is no change")
	}
}

// What the rung needs of each type is more than to create.
func TestInteractionsThatTheServerOffers(t *testing.T) {
	t.Parallel()
	without := func(kind string, lacking ...string) preflight.Report {
		return stated(t, func(s map[string]any) {
			for _, one := range s["rest"].([]any)[0].(map[string]any)["resource"].([]any) {
				o := one.(map[string]any)
				if o["type"] != kind {
					continue
				}
				o["interaction"] = slices.DeleteFunc(o["interaction"].([]any), func(i any) bool {
					code, _ := i.(map[string]any)["code"].(string)
					return slices.Contains(lacking, code)
				})
			}
		})
	}
	require.Equal(t, preflight.Pass, statusOf(without("Observation"), "interactions-claimed"))
	for _, i := range []string{"read", "update", "search-type"} {
		got := without("Specimen", i)
		require.Equal(t, preflight.Warn, statusOf(got, "interactions-claimed"), i)
		require.Equal(t, "Not offered: "+i+" of Specimen.", foundOf(got, "interactions-claimed"))
	}
	require.Equal(t, preflight.Pass, statusOf(without("Patient", "update", "create"), "interactions-claimed"), "nothing is written there")
	require.Equal(t, preflight.Info, statusOf(stated(t, func(s map[string]any) { delete(s, "rest") }), "interactions-claimed"))

	// By documents only their type counts.
	got := without("Specimen", "create", "update")
	require.Equal(t, delivery.RungDocument, got.Rung.Number)
	require.Equal(t, preflight.Pass, statusOf(got, "interactions-claimed"))
}

// A record refers to encounter and staff too.
func TestFindingEncounterAndStaff(t *testing.T) {
	t.Parallel()
	asked := func(kind string, answer http.HandlerFunc, change ...func(*preflight.Options)) preflight.Report {
		got, _ := triedOn(t, practice.Shape{Deletes: true}, func(next http.Handler) http.Handler {
			return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
				if answer != nil && strings.HasPrefix(req.URL.Path, "/fhir/"+kind) {
					answer(w, req)
					return
				}
				withoutLabel(next).ServeHTTP(w, req)
			})
		}, append(change, func(o *preflight.Options) { o.Cases, o.Write = 0, false })...)
		return got
	}
	good := asked("", nil)
	bundle := func(kind string) http.HandlerFunc {
		return says(http.StatusOK, map[string]any{"resourceType": "Bundle", "type": "searchset",
			"entry": []any{map[string]any{"resource": map[string]any{"resourceType": kind, "id": "1"}}}})
	}
	for kind, id := range map[string]string{"Encounter": "encounter-search", "Practitioner": "practitioner-search"} {
		require.Equal(t, preflight.Pass, statusOf(good, id))
		require.Equal(t, preflight.Warn, statusOf(asked(kind, outcomeOf(http.StatusNotFound, "not-supported", "")), id))
		require.Equal(t, preflight.Fail, statusOf(asked(kind, outcomeOf(http.StatusForbidden, "forbidden", "")), id))
		require.Equal(t, preflight.Fail, statusOf(asked(kind, bundle(kind)), id))
		documents := asked(kind, bundle(kind), func(o *preflight.Options) {
			p := mapping.New([]byte("HTEST key of a site, no secret"))
			p.Dress.Document = true
			o.Pipeline = &p
		})
		require.Empty(t, statusOf(documents, id), "a document looks nobody up")
	}
}

// Whether the test patient is there is a question of its own: a watch does not
// ask it, and a server that ignores conditions finds every patient.
func TestTheTestPatientIsAskedForByItself(t *testing.T) {
	t.Parallel()
	asked := func(patient string, behind func(http.Handler) http.Handler) preflight.Report {
		got, _ := triedOn(t, practice.Shape{Deletes: true}, func(next http.Handler) http.Handler { return behind(withoutLabel(next)) },
			func(o *preflight.Options) { o.Cases, o.Write, o.TestPatient = 0, false, patient })
		return got
	}
	known, unknown := practice.PatientSystem+"|HTEST-PAT-0001", practice.PatientSystem+"|HTEST-PAT-9999"
	none := asked("", plainly)
	require.Equal(t, preflight.Pass, statusOf(none, "patient-search"))
	require.Empty(t, statusOf(none, "test-patient"))
	for patient, want := range map[string]preflight.Status{known: preflight.Pass, unknown: preflight.Warn} {
		got := asked(patient, plainly)
		require.Equal(t, preflight.Pass, statusOf(got, "patient-search"))
		require.Equal(t, want, statusOf(got, "test-patient"))
		none.Target = got.Target // another port
		require.Empty(t, preflight.Drift(got, none), "it was not asked again")
	}
	got := asked(known, func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			if strings.HasPrefix(req.URL.Path, "/fhir/Patient") {
				says(http.StatusOK, map[string]any{"resourceType": "Bundle", "type": "searchset",
					"entry": []any{map[string]any{"resource": map[string]any{"resourceType": "Patient", "id": "1"}}}})(w, req)
				return
			}
			next.ServeHTTP(w, req)
		})
	})
	require.Equal(t, preflight.Fail, statusOf(got, "patient-search"))
	require.False(t, got.Usable)
}
