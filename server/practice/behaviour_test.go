package practice_test

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
)

// behaving returns a receiver that behaves like the kind of server.
func behaving(t *testing.T, name string) server {
	t.Helper()
	for _, b := range practice.Behaviours() {
		if b.Name == name {
			r := practice.New("/fhir")
			r.Shape(b.Shape)
			web := httptest.NewServer(r)
			t.Cleanup(web.Close)
			return server{t, web.URL + "/fhir", "HTEST"}
		}
	}
	t.Fatalf("there is no behaviour %q", name)
	return server{}
}

// What was measured of the servers that others wrote: a lost race is 412, 409,
// 400, or a 200 around a failed entry whose neighbours stand.
func TestALostRaceHasManyNames(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"strict": "412, 0 there", "strict-409": "409, 0 there", "lenient-400": "400, 0 there",
		"entry-by-entry": "200 201 412, 1 there", "half-transaction": "412, 1 there", "own-ids": "412, 0 there",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := behaving(t, name)
			id := s.made("Observation", s.observation(s.v("at"), ""))
			got := s.tx(entry("Patient", s.patient(s.v("good")), by(s.v("good"))),
				put("Observation/"+id, withID(id, s.observation(s.v("at"), `,"valueString":"c"`)), `W/"9"`))
			there := ", 0 there"
			if s.count("Patient", by(s.v("good"))) == 1 {
				there = ", 1 there"
			}
			require.Equal(t, want, got+there)
		})
	}
}

func TestBehavioursDifferWhereTheySaySo(t *testing.T) {
	t.Parallel()
	nowhere := `,"subject":{"reference":"Patient/nobody"}`
	for name, want := range map[string]string{"strict": "400", "lenient-400": "200 201", "entry-by-entry": "200 201"} {
		s := behaving(t, name)
		require.Equal(t, want, s.tx(entry("Observation", s.observation("o", nowhere), by("o"))), name)
	}
	for name, want := range map[string]string{"strict": "2", "strict-409": "1"} {
		s := behaving(t, name)
		id := s.made("Patient", s.patient("p"))
		s.tx(put("Patient/"+id, withID(id, s.patient("p")), ""))
		_, tree := s.call(http.MethodGet, "/Patient/"+id, "", "")
		require.Equal(t, want, tree["meta"].(map[string]any)["versionId"], name)
	}
	for name, want := range map[string]int{"strict": 200, "entry-by-entry": 400} {
		s := behaving(t, name)
		status, _ := s.call(http.MethodPost, "/Patient/_search", "application/x-www-form-urlencoded", "identifier=a|b")
		require.Equal(t, want, status, name)
	}
	s := behaving(t, "own-ids")
	require.Equal(t, "405", s.tx(put("Patient/k-1", withID("k-1", s.patient("p")), "")))
	s = behaving(t, "liar")
	require.Equal(t, "405", s.tx())
	_, tree := s.call(http.MethodGet, "/metadata", "", "")
	require.NotNil(t, tree["rest"].([]any)[0].(map[string]any)["interaction"], "it claims what it cannot do")
}
