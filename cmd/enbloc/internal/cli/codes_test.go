package cli_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/mapping/term"
)

// siteCodes is the ConceptMap of an invented hospital.
const siteCodes = `{"resourceType":"ConceptMap","group":[{"source":"https://enbloc.example/fhir/CodeSystem/enbloc","target":"https://hospital.example/local",
 "element":[{"code":"technique-esd","target":[{"code":"HTEST-ESD","display":"ESD","equivalence":"equivalent"}]},
  {"code":"organ-stomach","target":[{"code":"HTEST-ST","equivalence":"equal"}]}]}]}`

func TestCodesOfTheSite(t *testing.T) {
	t.Parallel()
	file := onDisk(t, "codes.json", siteCodes)
	r := run(t, "", "codes", "--codes", file, "--unmapped", "--json")
	require.Equal(t, cli.Good, r.code, r.err)
	var answer struct {
		Unmapped []struct{ Code, Display, Group string }
	}
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	require.Len(t, answer.Unmapped, len(term.Overlay{}.Unmapped())-2)
	require.NotContains(t, r.out, "technique-esd\"")
	require.Contains(t, run(t, "", "codes", "--codes", file, "--unmapped").out, "technique-emr")
	require.Contains(t, run(t, "", "codes", "--codes", file, "--system", "hospital.example").out, "HTEST-ESD")

	bundle := run(t, "", "map", onDisk(t, "report.json", example(t, bleed, "01-report.json")), "--codes", file)
	require.Equal(t, cli.Good, bundle.code, bundle.err)
	require.Contains(t, bundle.out, `{"system":"https://hospital.example/local","code":"HTEST-ESD","display":"ESD"}`)
	require.Contains(t, bundle.out, `"profile"`)
	require.NotContains(t, run(t, "", "map", onDisk(t, "report.json", example(t, bleed, "01-report.json")), "--no-profiles").out, `"profile"`)

	for _, wrong := range []string{onDisk(t, "wrong.json", strings.Replace(siteCodes, "technique-esd", "technique-x", 1)), "/none"} {
		r := run(t, "", "codes", "--codes", wrong)
		require.Equal(t, cli.Usage, r.code)
		require.NotEmpty(t, r.err)
	}
}

// terminologyServer is a small fake of $validate-code (R4): it refuses one
// code, has no verdict on one system, and takes all else.
func terminologyServer(t *testing.T, asked *atomic.Int64) string {
	t.Helper()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		values := map[string]string{}
		var in struct {
			ResourceType string
			Parameter    []map[string]string
		}
		if r.Method != http.MethodPost || r.URL.Path != "/r4/CodeSystem/$validate-code" || json.NewDecoder(r.Body).Decode(&in) != nil {
			w.WriteHeader(http.StatusNotFound)
			return
		}
		for _, p := range in.Parameter {
			values[p["name"]] = p["valueUri"] + p["valueCode"] + p["valueString"]
		}
		w.Header().Set("Content-Type", "application/fhir+json")
		switch {
		case values["url"] == "http://loinc.org":
			w.WriteHeader(http.StatusNotFound)
			_, _ = w.Write([]byte(`{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"not-found","diagnostics":"no \u001b[31mLOINC\n here"}]}`))
		case values["code"] == "jnet-2a":
			_, _ = w.Write([]byte(`{"resourceType":"Parameters","parameter":[{"name":"message","valueString":"retired"},{"name":"result","valueBoolean":false}]}`))
		default:
			_, _ = w.Write([]byte(`{"resourceType":"Parameters","parameter":[{"name":"result","valueBoolean":true}]}`))
		}
	}))
	t.Cleanup(server.Close)
	return server.URL + "/r4"
}

func TestCodesAreValidated(t *testing.T) {
	t.Parallel()
	var asked atomic.Int64
	server := terminologyServer(t, &asked)
	type verdict struct{ System, Code, Message string }
	var answer struct {
		Asked, Accepted     int
		Refused, Unanswered []verdict
	}
	r := run(t, "", "codes", "--validate", server, "--json")
	require.Equal(t, cli.TargetFailed, r.code, r.err)
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	sendable, loinc := len(term.Concepts()), 0
	for _, c := range term.Codes() {
		if c.Licence != term.SNOMEDLicensed {
			sendable++
		}
		if c.Licence == term.LOINC {
			loinc++
		}
	}
	require.Equal(t, int64(sendable), asked.Load(), "each code that this site may send, once")
	require.Equal(t, sendable, answer.Asked)
	require.Equal(t, []verdict{{term.System, "jnet-2a", "retired"}}, answer.Refused)
	require.Len(t, answer.Unanswered, loinc)
	require.NotContains(t, answer.Unanswered[0].Message, "\x1b")
	require.Equal(t, sendable-loinc-1, answer.Accepted)

	require.Equal(t, cli.Good, run(t, "", "codes", "--validate", server, "--system", "ucum").code, "nothing refused")
	text := run(t, "", "codes", "--validate", server, "--system", "enbloc").out
	require.Contains(t, text, "Refused")
	require.Contains(t, text, "jnet-2a")
	licensed := run(t, "", "codes", "--validate", server, "--licensed-snomed", "--system", "snomed", "--json")
	require.NoError(t, json.Unmarshal([]byte(licensed.out), &answer))
	require.Greater(t, answer.Asked, 300)
}

func TestCodesCannotBeValidated(t *testing.T) {
	t.Parallel()
	token := onDisk(t, "token", "0123456789abcdef")
	for name, c := range map[string]struct {
		code int
		args []string
	}{
		"no URL":                 {cli.Usage, []string{"--validate", "tx.hospital.example"}},
		"credentials in it":      {cli.Usage, []string{"--validate", "https://u:p@tx.hospital.example/r4"}},
		"a token over http":      {cli.Usage, []string{"--validate", "http://tx.hospital.example/r4", "--validate-token-file", token}},
		"nobody there":           {cli.TargetFailed, []string{"--validate", "http://127.0.0.1:9/r4"}},
		"a token file not there": {cli.Usage, []string{"--validate", "https://tx.hospital.example/r4", "--validate-token-file", "/none"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, c.code, run(t, "", append([]string{"codes"}, c.args...)...).code)
		})
	}
	for _, answer := range []string{"<html>", "{}", ""} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(answer)) }))
		t.Cleanup(server.Close)
		r := run(t, "", "codes", "--validate", server.URL)
		require.Equal(t, cli.TargetFailed, r.code)
		require.Contains(t, r.err, "not FHIR")
	}
}
