//go:build peers

package cli_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/mapping/term"
)

// A real terminology endpoint that has loaded our package accepts every code of
// ours, refuses one that is in no code system of its own, and of what it does
// not hold it says so: that is listed as not checked and not hidden
// (hl7.org/fhir/R4/codesystem-operation-validate-code.html).
func TestCodesOnARealTerminologyServer(t *testing.T) {
	base := os.Getenv("ENBLOC_TEST_HAPI")
	require.NotEmpty(t, base, "start HAPI (testdata/peers/hapi/start.sh) and give its base URL in ENBLOC_TEST_HAPI")
	load := func(file string, raw []byte) {
		var r struct{ ResourceType, ID string }
		require.NoError(t, json.Unmarshal(raw, &r))
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPut, base+"/"+r.ResourceType+"/"+r.ID, bytes.NewReader(raw))
		require.NoError(t, err)
		req.Header.Set("Content-Type", "application/fhir+json")
		res, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		body, _ := io.ReadAll(res.Body)
		require.NoError(t, res.Body.Close())
		require.Less(t, res.StatusCode, 300, "%s: %s", file, body)
	}
	archive := filepath.Join(t.TempDir(), "package.tgz")
	require.Equal(t, cli.Good, run(t, "", "package", "--out", archive).code)
	raw, err := os.ReadFile(archive)
	require.NoError(t, err)
	names, files := unpack(t, raw)
	for _, kind := range []string{"package/CodeSystem-", "package/ValueSet-"} {
		loaded := 0
		for _, name := range names {
			if strings.HasPrefix(name, kind) {
				load(name, files[name])
				loaded++
			}
		}
		require.NotZero(t, loaded, kind)
	}

	// The planted code: R4 has no such gender, and HAPI knows what R4 has.
	planted := onDisk(t, "planted.json", `{"resourceType":"ConceptMap","status":"active","group":[{"source":"`+term.System+`",
		"target":"http://hl7.org/fhir/administrative-gender","element":[{"code":"technique-esd","target":[{"code":"htest-no-such-code","equivalence":"equivalent"}]}]}]}`)
	type verdict struct{ System, Code, Message string }
	var answer struct {
		Asked, Accepted     int
		Refused, Unanswered []verdict
	}
	r := run(t, "", "codes", "--validate", base, "--codes", planted, "--json")
	require.Equal(t, cli.TargetFailed, r.code, r.err)
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer), r.out)
	require.Equal(t, answer.Asked, answer.Accepted+len(answer.Refused)+len(answer.Unanswered))
	require.GreaterOrEqual(t, answer.Accepted, len(term.Concepts()))
	var refused []string
	for _, v := range answer.Refused {
		refused = append(refused, v.System+"|"+v.Code)
		require.NotEqual(t, term.System, v.System, "%+v", v)
	}
	require.Equal(t, []string{"http://hl7.org/fhir/administrative-gender|htest-no-such-code"}, refused)
	unchecked := map[string]int{}
	for _, v := range answer.Unanswered {
		unchecked[v.System]++
		require.NotEmpty(t, v.Message)
	}
	require.NotZero(t, unchecked["http://loinc.org"])
	require.NotZero(t, unchecked["http://snomed.info/sct"])
	require.Zero(t, unchecked[term.System])
}
