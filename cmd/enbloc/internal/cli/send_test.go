package cli_test

import (
	"context"
	"encoding/json"
	"io"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/mapping/report"
	"enbloc/server/practice"
)

// receiver is a practice receiver over HTTP that knows the patient of the case.
func receiver(t *testing.T) (*practice.Receiver, string) {
	t.Helper()
	r := practice.New("/fhir")
	s := httptest.NewServer(r)
	t.Cleanup(s.Close)
	var rep report.Report
	require.NoError(t, json.Unmarshal([]byte(example(t, bleed, "01-report.json")), &rep))
	_, err := r.Seed("Patient", rep.Patient.Identifier.System, rep.Patient.Identifier.Value, nil)
	require.NoError(t, err)
	return r, s.URL + "/fhir"
}

func TestSendTwiceWritesOnce(t *testing.T) {
	t.Parallel()
	target, url := receiver(t)
	data := t.TempDir()
	file := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	first := run(t, "", "send", file, "--to", url, "--data", data)
	require.Equal(t, cli.Good, first.code, first.out+first.err)
	require.Contains(t, first.out, "Read back equal.")
	require.Contains(t, first.err, "identity key")
	writes := len(target.Journal())
	require.Greater(t, writes, 20)
	require.Len(t, target.Resources("DiagnosticReport"), 1)

	again := run(t, "", "send", file, "--to", url, "--data", data)
	require.Equal(t, cli.Good, again.code, again.out+again.err)
	require.NotContains(t, again.err, "identity key", "the key is made once")
	require.Len(t, target.Journal(), writes, "the second sending wrote something")
}

func TestSendWithHistologyUpdatesTheSameRecord(t *testing.T) {
	t.Parallel()
	target, url := receiver(t)
	data := t.TempDir()
	file := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	histology := onDisk(t, "h.json", example(t, bleed, "02-histology.json"))
	require.Equal(t, cli.Good, run(t, "", "send", file, "--to", url, "--data", data).code)
	procedures := len(target.Resources("Procedure"))

	r := run(t, "", "send", file, "--with", histology, "--to", url, "--data", data, "--json")
	require.Equal(t, cli.Good, r.code, r.out+r.err)
	var result struct {
		Items []struct{ Type, Effect string }
	}
	require.NoError(t, json.Unmarshal([]byte(r.out), &result))
	effects := map[string]int{}
	for _, i := range result.Items {
		effects[i.Effect]++
	}
	require.Positive(t, effects["created"])
	require.Positive(t, effects["updated"])
	require.Len(t, target.Resources("Procedure"), procedures)
}

func TestSendSaysWhyItFailed(t *testing.T) {
	t.Parallel()
	file := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	dead := httptest.NewServer(nil)
	address := dead.URL
	dead.Close()
	r := run(t, "", "send", file, "--to", address+"/fhir", "--data", t.TempDir())
	require.Equal(t, cli.TargetFailed, r.code)
	require.Contains(t, r.err, "not delivered")
	require.Empty(t, r.out)

	empty := httptest.NewServer(practice.New("/fhir"))
	defer empty.Close()
	r = run(t, "", "send", file, "--to", empty.URL+"/fhir", "--data", t.TempDir())
	require.Equal(t, cli.TargetFailed, r.code)
	require.Contains(t, r.err, "no patient with this identifier")
	require.NotContains(t, r.err, "HTEST-P-0102", "the message names the patient")
}

func TestSendMakesTheKeyForItsOwnerOnly(t *testing.T) {
	t.Parallel()
	_, url := receiver(t)
	data := t.TempDir()
	r := run(t, example(t, bleed, "01-report.json"), "send", "-", "--to", url, "--data", data)
	require.Equal(t, cli.Good, r.code, r.out+r.err)
	path := filepath.Join(data, "identity.key")
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	key, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NotContains(t, r.out+r.err, string(key[:16]))
}

func TestPracticeReceivesTheExamples(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	base := make(chan string, 1)
	code := make(chan int, 1)
	go func() {
		code <- cli.Run(ctx, []string{"practice", "--listen", "127.0.0.1:0"}, cli.Streams{Out: firstURL(base), Err: io.Discard})
	}()
	r := run(t, example(t, bleed, "01-report.json"), "send", "-", "--to", <-base, "--data", t.TempDir())
	require.Equal(t, cli.Good, r.code, r.out+r.err)
	cancel()
	require.Equal(t, cli.Good, <-code)
}

// firstURL is a writer that sends the first address written to it.
type firstURL chan string

var anyURL = regexp.MustCompile(`http://[^ ,]+`)

func (c firstURL) Write(b []byte) (int, error) {
	if found := anyURL.Find(b); found != nil {
		c <- string(found)
	}
	return len(b), nil
}
