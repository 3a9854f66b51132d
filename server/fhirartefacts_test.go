package server_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/term"
	published "enbloc/schemas/fhir"
	"enbloc/server/servertest"
)

// Each list holds every definition of its type, and each definition is served
// under its id and found by its canonical address, byte for byte as it is in
// the package.
func TestDefinitionsAreServed(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	listed := 0
	for _, kind := range published.Types {
		a := s.Do(http.MethodGet, "/fhir/"+kind, nil)
		require.Equal(t, http.StatusOK, a.Status)
		require.Equal(t, "application/fhir+json", a.Header.Get("Content-Type"))
		var list struct {
			ResourceType, Type string
			Total              int
			Entry              []struct {
				Resource struct{ ResourceType, ID, URL string }
			}
		}
		require.NoError(t, json.Unmarshal(a.Body, &list))
		require.Equal(t, "searchset", list.Type)
		require.Len(t, list.Entry, list.Total)
		require.NotZero(t, list.Total)
		listed += list.Total
	}
	all := published.All(false)
	require.Equal(t, len(all), listed)
	for _, want := range all {
		a := s.Do(http.MethodGet, "/fhir/"+want.Type+"/"+want.ID, nil)
		require.Equal(t, http.StatusOK, a.Status, want.ID)
		require.JSONEq(t, string(want.JSON), string(a.Body))
	}
	for _, address := range []string{term.System, "https://nobody.example/fhir/CodeSystem/none"} {
		a := s.Do(http.MethodGet, "/fhir/CodeSystem?url="+url.QueryEscape(address), nil)
		require.Equal(t, http.StatusOK, a.Status)
		var list struct{ Total int }
		require.NoError(t, json.Unmarshal(a.Body, &list))
		require.Equal(t, address == term.System, list.Total == 1)
	}
}

func TestDefinitionsThatAreNotThere(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	for path, status := range map[string]int{
		"/fhir/Patient": http.StatusNotFound, "/fhir/Patient/enbloc": http.StatusNotFound, "/fhir/CodeSystem/none": http.StatusNotFound,
		"/fhir/ValueSet/enbloc": http.StatusNotFound, "/fhir/CodeSystem?name=enbloc": http.StatusBadRequest,
	} {
		require.Equal(t, status, s.Do(http.MethodGet, path, nil).Status, path)
	}
}

// TestViewsAreServed: every file that lays records flat, byte for byte.
func TestViewsAreServed(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	var list struct{ Views []string }
	s.MustGet("/views", &list)
	require.Len(t, list.Views, len(published.Views()))
	described := judge(t, s)
	for i, want := range published.Views() {
		a := s.Do(http.MethodGet, list.Views[i], nil)
		require.Equal(t, http.StatusOK, a.Status, want.Name)
		require.Equal(t, string(want.Body), string(a.Body))
		require.Empty(t, described(http.MethodGet, list.Views[i], nil, a), want.Name)
	}
	require.Equal(t, http.StatusNotFound, s.Do(http.MethodGet, "/views/none.json", nil).Status)
}
