package consent_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/server/consent"
)

var patient = report.Identifier{System: "https://hospital.example/sid/patient", Value: "HTEST-P-1"}

func TestAListIsReadAnewAndFailsClosed(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "list.txt")
	out, in := consent.File{Path: path, Rule: consent.OptOut}, consent.File{Path: path, Rule: consent.OptIn}
	ask := func(s consent.Source, want bool) {
		t.Helper()
		got, err := s.Allows(t.Context(), patient)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	refused := func(part string) {
		t.Helper()
		for _, s := range []consent.Source{out, in} {
			got, err := s.Allows(t.Context(), patient)
			require.ErrorContains(t, err, part)
			require.False(t, got)
			require.NotContains(t, err.Error(), patient.Value)
			require.NotContains(t, err.Error(), path)
		}
	}
	write := func(text string) { require.NoError(t, os.WriteFile(path, []byte(text), 0o600)) }
	refused("no such file")
	write("")
	ask(out, true)
	ask(in, false)
	write("# objected\r\n\r\n https://hospital.example/sid/patient|HTEST-P-1 \r\n")
	ask(out, false)
	ask(in, true)
	write("https://hospital.example/sid/patient|HTEST-P-11\nhttps://hospital.example/sid/other|HTEST-P-1\n")
	ask(out, true)
	ask(in, false)
	write("https://hospital.example/sid/patient|HTEST-P-2\nHTEST-P-1\n")
	refused("line 2 is not")
	write("x|" + string(make([]byte, 1<<17)))
	refused("")
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Mkdir(path, 0o700))
	refused("is a directory")
}

func TestAHookMustSayYes(t *testing.T) {
	t.Parallel()
	status, body := http.StatusOK, ""
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked, _ := io.ReadAll(r.Body)
		require.JSONEq(t, `{"recipient":"r","patient":{"system":"https://hospital.example/sid/patient","value":"HTEST-P-1"}}`, string(asked))
		require.Equal(t, "Bearer secret", r.Header.Get("Authorization"))
		require.NotContains(t, r.URL.String(), "HTEST")
		w.Header().Set("Location", "/elsewhere")
		w.WriteHeader(status)
		_, _ = io.WriteString(w, body)
	}))
	defer s.Close()
	h := consent.Hook{URL: s.URL, Recipient: "r", Token: "secret"}
	for _, c := range []struct {
		status int
		body   string
		want   bool
		fails  bool
	}{
		{200, `{"send":true}`, true, false},
		{200, `{"send":false}`, false, false},
		{200, `{}`, false, true},
		{200, `{"send":null}`, false, true},
		{200, `yes`, false, true},
		{200, ``, false, true},
		{204, ``, false, true},
		{302, `{"send":true}`, false, true},
		{404, `{"send":true}`, false, true},
		{500, `{"send":true}`, false, true},
	} {
		status, body = c.status, c.body
		got, err := h.Allows(t.Context(), patient)
		require.Equal(t, c.want, got, "%d %s", c.status, c.body)
		require.Equal(t, c.fails, err != nil, "%d %s", c.status, c.body)
	}
	s.Close()
	got, err := h.Allows(t.Context(), patient)
	require.False(t, got)
	require.EqualError(t, err, "asking for consent: no answer")
}

func TestNoConsentNeededIsSaidInSoManyWords(t *testing.T) {
	t.Parallel()
	got, err := consent.Always{}.Allows(t.Context(), patient)
	require.NoError(t, err)
	require.True(t, got)
}
