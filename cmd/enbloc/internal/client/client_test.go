package client_test

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/client"
)

// asked starts a service that answers as told and returns a client for it.
func asked(t *testing.T, handler http.HandlerFunc) *client.Client {
	t.Helper()
	s := httptest.NewServer(handler)
	t.Cleanup(s.Close)
	c, err := client.New(s.URL+"/", "a-token")
	require.NoError(t, err)
	return c
}

func TestTheTokenGoesToTheServiceOnly(t *testing.T) {
	t.Parallel()
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		t.Error("the redirect was followed")
	}))
	defer elsewhere.Close()
	c := asked(t, func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "Bearer a-token" {
			t.Error("the token did not come")
		}
		http.Redirect(w, r, elsewhere.URL, http.StatusTemporaryRedirect)
	})
	err := c.Get(t.Context(), "/cases", nil)
	var refused *client.Refusal
	require.ErrorAs(t, err, &refused)
	require.Equal(t, http.StatusTemporaryRedirect, refused.Status)
}

func TestProblemsSpeakForThemselves(t *testing.T) {
	t.Parallel()
	c := asked(t, func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusUnprocessableEntity)
		_, _ = w.Write([]byte(`{"title":"Unprocessable Entity","detail":"The content was refused.","findings":[{"id":"x","severity":"error"}]}`))
	})
	var refused *client.Refusal
	require.ErrorAs(t, c.Get(t.Context(), "/check", nil), &refused)
	require.Len(t, refused.Findings, 1)
	require.Equal(t, "the service answered 422 Unprocessable Entity: The content was refused.", refused.Error())
}

func TestAnotherProgramIsNotTakenForTheService(t *testing.T) {
	t.Parallel()
	c := asked(t, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/broken" {
			w.WriteHeader(http.StatusBadGateway)
		}
		_, _ = w.Write([]byte("<html>"))
	})
	var out map[string]any
	require.ErrorContains(t, c.Get(t.Context(), "/cases", &out), "another program")
	require.EqualError(t, c.Get(t.Context(), "/broken", &out), "the service answered 502 Bad Gateway")
}

func TestDeliveriesReadsEveryPage(t *testing.T) {
	t.Parallel()
	c := asked(t, func(w http.ResponseWriter, r *http.Request) {
		page := `{"deliveries":[{"id":"1"},{"id":"2"}],"next":"/deliveries?after=2"}`
		if r.URL.Query().Get("after") == "2" {
			page = `{"deliveries":[{"id":"3"}],"next":""}`
		}
		_, _ = w.Write([]byte(page))
	})
	all, err := c.Deliveries(t.Context(), nil, 0)
	require.NoError(t, err)
	require.Len(t, all, 3)
	two, err := c.Deliveries(t.Context(), nil, 2)
	require.NoError(t, err)
	require.Len(t, two, 2)
}

func TestErrorsNameNoPath(t *testing.T) {
	t.Parallel()
	s := httptest.NewServer(nil)
	address := s.URL
	s.Close()
	c, err := client.New(address, "")
	require.NoError(t, err)
	err = c.Get(t.Context(), "/cases/c0123", nil)
	require.Error(t, err)
	require.NotContains(t, err.Error(), "c0123")
	_, err = client.New("127.0.0.1:8700", "")
	require.Error(t, err)
}
