package cli_test

import (
	"encoding/json"
	"encoding/xml"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/server/practice"
	"enbloc/server/preflight"
)

func practiceServer(t testing.TB, shape practice.Shape) string {
	t.Helper()
	r := practice.New("/fhir")
	r.Shape(shape)
	web := httptest.NewServer(r)
	t.Cleanup(web.Close)
	return web.URL + "/fhir"
}

func TestPreflightWritesEveryFormAndEndsWithItsCode(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	base := practiceServer(t, practice.Shape{Deletes: true})
	got := run(t, "", "preflight", base, "--html", at("p.html"), "--json", at("p.json"), "--junit", at("p.xml"), "--keep", "--data", dir, "--cases", "2")
	require.Equal(t, cli.Good, got.code, got.err)
	require.Contains(t, got.out, "can be delivered to by rung 2 of 6")
	require.Contains(t, got.out, "of 2 invented cases 2 can be delivered")

	raw, err := os.ReadFile(at("p.json"))
	require.NoError(t, err)
	var p preflight.Report
	require.NoError(t, json.Unmarshal(raw, &p))
	require.Equal(t, preflight.Format, p.Format)
	require.Empty(t, p.Leftovers)
	require.Equal(t, &preflight.Trial{Cases: 2, Deliverable: 2, By: preflight.ByWriting, Refusals: []preflight.Refusal{}}, p.Trial)
	raw, err = os.ReadFile(at("p.xml"))
	require.NoError(t, err)
	require.NoError(t, xml.Unmarshal(raw, &struct{}{}))
	require.FileExists(t, at("p.html"))

	// The same server, later without transactions: the baseline tells.
	other := practiceServer(t, practice.Shape{NoTransaction: true})
	got = run(t, "", "preflight", other, "--baseline", at("p.json"))
	require.Equal(t, cli.Changed, got.code)
	require.Contains(t, got.out, "CHANGED")
	require.Contains(t, got.out, "rung 4 of 6")

	require.Equal(t, cli.Good, run(t, "", "preflight", base, "--baseline", at("p.json"), "--cases", "0").code, "nothing has changed")

	got = run(t, "", "preflight", practiceServer(t, practice.Shape{ReadOnly: true}), "--baseline", at("p.json"))
	require.Equal(t, cli.TargetFailed, got.code)
	require.Contains(t, got.out, "takes nothing in")
	require.Equal(t, cli.Usage, run(t, "", "preflight", "no-url").code)
	require.Equal(t, cli.Usage, run(t, "", "preflight", base, "--target-dress", "nobody").code)
	require.Equal(t, cli.Usage, run(t, "", "preflight", base, "--baseline", at("p.xml")).code)
}

// What is kept is said, and what cannot be kept is refused with the reason.
func TestKeepingAPreflight(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	keep := func(shape practice.Shape) ran {
		return run(t, "", "preflight", practiceServer(t, shape), "--target-name", "hospital", "--keep", "--data", dir, "--cases", "0")
	}
	got := keep(practice.Shape{NoTransaction: true})
	require.Equal(t, cli.Good, got.code, got.err)
	require.Contains(t, got.out, "writes by rung 4 from its next start")
	got = keep(practice.Shape{ReadOnly: true})
	require.Equal(t, cli.TargetFailed, got.code)
	require.Contains(t, got.err, "the report is not kept")
	got = keep(practice.Shape{})
	require.Equal(t, cli.Good, got.code, "who keeps it accepts what has changed")
	require.Contains(t, got.out, "CHANGED")
	require.Contains(t, got.out, "transaction was warn, is pass")
	require.Contains(t, got.out, "writes by rung 2 from its next start")
}

func TestTestDataStaysAwayFromPatients(t *testing.T) {
	t.Parallel()
	require.Contains(t, run(t, "", "preflight", practiceServer(t, practice.Shape{}), "--target-serves", "nobody").err, "patients or test")
	target, url := receiver(t)
	file := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	got := run(t, "", "send", file, "--to", url, "--data", t.TempDir(), "--target-serves", "patients")
	require.Equal(t, cli.TargetFailed, got.code)
	require.Contains(t, got.err, "wrong-audience")
	require.Len(t, target.Journal(), 1, "the patient, and nothing of the case")
	require.NotContains(t, got.err, "HTEST")
}

// TestAWholeCaseGoesByEveryRung sends a mapped example to servers that lack what
// the better rungs need, twice: all is there and nothing is doubled.
func TestAWholeCaseGoesByEveryRung(t *testing.T) {
	t.Parallel()
	for rung, shape := range map[string]practice.Shape{
		"1": {}, "2": {NoClientIDs: true}, "3": {NoClientIDs: true, NoConditionalCreate: true, ConditionalUpdate: true},
		"4": {NoTransaction: true, NoClientIDs: true}, "5": {OnlyDocuments: true},
	} {
		t.Run(rung, func(t *testing.T) {
			t.Parallel()
			target, url := receiver(t)
			target.Shape(shape)
			data := t.TempDir()
			report := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
			histology := onDisk(t, "h.json", example(t, bleed, "02-histology.json"))
			for _, args := range [][]string{{}, {"--with", histology}} {
				send := append([]string{"send", report, "--to", url, "--data", data, "--rung", rung}, args...)
				got := run(t, "", send...)
				require.Equal(t, cli.Good, got.code, got.out+got.err)
				require.Contains(t, got.out, "Read back equal.")
				writes := len(target.Journal())
				got = run(t, "", send...)
				require.Equal(t, cli.Good, got.code, got.out+got.err)
				require.Len(t, target.Journal(), writes, "the second sending wrote something")
			}
		})
	}
}

func TestSkipNeedsAServiceAndAnID(t *testing.T) {
	t.Parallel()
	require.Equal(t, cli.Usage, run(t, "", "skip").code)
	got := run(t, "", "skip", "some-id", "--server", "http://127.0.0.1:1")
	require.Equal(t, cli.TargetFailed, got.code)
	require.Contains(t, got.err, "enbloc serve")
}
