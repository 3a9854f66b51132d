package cli_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/cli"
	"enbloc/testdata/cases"
)

// ran is what one run of the program left behind.
type ran struct {
	code     int
	out, err string
}

// run runs the program with an environment of its own.
func run(t *testing.T, stdin string, args ...string) ran {
	t.Helper()
	return runIn(t, nil, stdin, args...)
}

func runIn(t *testing.T, env map[string]string, stdin string, args ...string) ran {
	t.Helper()
	var out, errs bytes.Buffer
	code := cli.Run(t.Context(), args, cli.Streams{
		In: strings.NewReader(stdin), Out: &out, Err: &errs, Env: func(name string) string { return env[name] },
	})
	return ran{code, out.String(), errs.String()}
}

// example returns a document of an example case.
func example(t *testing.T, name, file string) string {
	t.Helper()
	for _, c := range cases.All() {
		for _, d := range c.Documents {
			if c.Name == name && d.File == file {
				return string(d.JSON)
			}
		}
	}
	require.FailNow(t, "no such example", "%s/%s", name, file)
	return ""
}

// bleed is the case with a report, histology and two late events.
const bleed = "02-gastric-esd-ecura-b-delayed-bleeding"

// onDisk writes a document to a file.
func onDisk(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// broken is the example with a status that does not exist.
func broken(t *testing.T) string {
	t.Helper()
	text := example(t, bleed, "01-report.json")
	changed := strings.Replace(text, `"status": "signed"`, `"status": "sealed"`, 1)
	require.NotEqual(t, text, changed)
	return changed
}

func TestExitCodes(t *testing.T) {
	t.Parallel()
	good, bad := example(t, bleed, "01-report.json"), broken(t)
	histology := onDisk(t, "histology.json", example(t, bleed, "02-histology.json"))
	report := onDisk(t, "report.json", good)
	for name, c := range map[string]struct {
		stdin string
		args  []string
		code  int
		says  string // part of standard error
	}{
		"no command":                    {"", nil, cli.Good, ""},
		"help":                          {"", []string{"help"}, cli.Good, ""},
		"version":                       {"", []string{"--version"}, cli.Good, ""},
		"unknown command":               {"", []string{"frobnicate"}, cli.Usage, "unknown command"},
		"unknown flag":                  {"", []string{"check", "--frobnicate", report}, cli.Usage, "unknown flag"},
		"no file":                       {"", []string{"check"}, cli.Usage, "needs one FILE"},
		"two files":                     {"", []string{"check", report, report}, cli.Usage, "needs one FILE"},
		"missing file":                  {"", []string{"check", "/nowhere.json"}, cli.Usage, "no such file"},
		"folder":                        {"", []string{"check", t.TempDir()}, cli.Usage, "reading document"},
		"not JSON":                      {"status: signed", []string{"check", "-"}, cli.Usage, "not JSON"},
		"truncated":                     {good[:len(good)/2], []string{"check", "-"}, cli.Usage, "not JSON"},
		"empty":                         {"", []string{"check", "-"}, cli.Usage, "not JSON"},
		"check, good":                   {good, []string{"check", "-"}, cli.Good, ""},
		"check, errors":                 {bad, []string{"check", "-"}, cli.HasErrors, ""},
		"check, a part":                 {"", []string{"check", histology}, cli.Good, ""},
		"check, not a document":         {"[]", []string{"check", "-"}, cli.HasErrors, ""},
		"assess, good":                  {good, []string{"assess", "-"}, cli.Good, ""},
		"assess, errors":                {bad, []string{"assess", "-"}, cli.HasErrors, "ERROR"},
		"assess, a part alone":          {"", []string{"assess", histology}, cli.Usage, "--with"},
		"assess, a report as part":      {good, []string{"assess", "-", "--with", report}, cli.Usage, "neither a histology part"},
		"what-if without a value":       {good, []string{"assess", "-", "--what-if", "lesion/1"}, cli.Usage, "path=value"},
		"what-if of no lesion":          {good, []string{"assess", "-", "--what-if", "lesion/9/histology/depth_um=1"}, cli.Usage, "no such lesion"},
		"what-if that breaks the rules": {good, []string{"assess", "-", "--what-if", "status=sealed"}, cli.HasErrors, "changed report"},
		"map, good":                     {good, []string{"map", "-"}, cli.Good, ""},
		"map, errors":                   {bad, []string{"map", "-"}, cli.HasErrors, "ERROR"},
		"map, key missing":              {good, []string{"map", "-", "--key-file", "/nowhere"}, cli.Usage, "no such file"},
		"send without a target":         {good, []string{"send", "-"}, cli.Usage, "--to"},
		"send to no URL":                {good, []string{"send", "-", "--to", "hospital"}, cli.Usage, "not a URL"},
		"send, errors":                  {bad, []string{"send", "-", "--to", "http://127.0.0.1:1/fhir"}, cli.HasErrors, "ERROR"},
		"rules, argument that is none":  {"", []string{"rules", "R0"}, cli.Usage, "no rule"},
		"rules, two forms":              {"", []string{"rules", "--json", "--markdown"}, cli.Usage, "markdown"},
		"book file missing":             {good, []string{"assess", "-", "--book", "/nowhere"}, cli.Usage, "book"},
		"schema that is none":           {"", []string{"schemas", "../go.mod"}, cli.Usage, "no schema"},
		"examples without a folder":     {"", []string{"examples"}, cli.Usage, "--out"},
		"serve beyond loopback":         {"", []string{"serve", "--listen", "0.0.0.0:0"}, cli.Usage, "without a token"},
		"serve with an argument":        {"", []string{"serve", "now"}, cli.Usage, "no argument"},
		"serve, log format":             {"", []string{"serve", "--log-format", "xml"}, cli.Usage, "neither text nor json"},
		"health, nobody there":          {"", []string{"health", "--server", "http://127.0.0.1:1"}, cli.TargetFailed, "running"},
		"deliveries, nobody there":      {"", []string{"deliveries", "--server", "http://127.0.0.1:1"}, cli.TargetFailed, "running"},
		"resend without an ID":          {"", []string{"resend"}, cli.Usage, "ID"},
		"resend, ID and state":          {"", []string{"resend", "a", "--state", "dead"}, cli.Usage, "not both"},
		"resend, ID and reason":         {"", []string{"resend", "a", "--reason", "refused"}, cli.Usage, "--state"},
		"resend what has arrived":       {"", []string{"resend", "--state", "delivered"}, cli.Usage, "dead, parked or conflict"},
		"server that is no URL":         {"", []string{"health", "--server", "there"}, cli.Usage, "not a URL"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := run(t, c.stdin, c.args...)
			require.Equal(t, c.code, r.code, "out: %s\nerr: %s", r.out, r.err)
			require.Contains(t, r.err, c.says)
			if c.code == cli.Usage {
				require.Empty(t, r.out, "standard output belongs to results")
			}
		})
	}
}

func TestEnvironmentStandsInForFlags(t *testing.T) {
	t.Parallel()
	r := runIn(t, map[string]string{"ENBLOC_LISTEN": "0.0.0.0:0"}, "", "serve")
	require.Equal(t, cli.Usage, r.code)
	require.Contains(t, r.err, "without a token")
	r = runIn(t, map[string]string{"ENBLOC_RUNG": "high"}, "", "serve")
	require.Equal(t, cli.Usage, r.code)
	require.Contains(t, r.err, "ENBLOC_RUNG")
	// A flag wins.
	r = runIn(t, map[string]string{"ENBLOC_LISTEN": "0.0.0.0:0"}, "", "serve", "--listen", "nonsense")
	require.Contains(t, r.err, `"nonsense"`)
}

// keysOf returns the members of a JSON object.
func keysOf(t *testing.T, raw json.RawMessage) []string {
	t.Helper()
	var object map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(raw, &object))
	keys := make([]string, 0, len(object))
	for k := range object {
		keys = append(keys, k)
	}
	return keys
}

func TestCheckJSONIsAContract(t *testing.T) {
	t.Parallel()
	r := run(t, broken(t), "check", "-", "--json")
	require.Equal(t, cli.HasErrors, r.code)
	require.Equal(t, []string{"findings"}, keysOf(t, json.RawMessage(r.out)))
	var answer struct{ Findings []json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	require.NotEmpty(t, answer.Findings)
	for _, f := range answer.Findings {
		require.ElementsMatch(t, []string{"id", "severity", "pointer", "text", "mend", "source"}, keysOf(t, f))
	}
	require.Contains(t, r.out, `"pointer": "/status"`)
	require.Contains(t, run(t, example(t, bleed, "02-histology.json"), "check", "-", "--json").out, `"findings": []`)
}

func TestAssessJSONIsAContract(t *testing.T) {
	t.Parallel()
	histology := onDisk(t, "h.json", example(t, bleed, "02-histology.json"))
	r := run(t, example(t, bleed, "01-report.json"), "assess", "-", "--with", histology, "--json")
	require.Equal(t, cli.Good, r.code, r.err)
	require.Equal(t, []string{"results"}, keysOf(t, json.RawMessage(r.out)))
	var answer struct{ Results []json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	require.NotEmpty(t, answer.Results)
	for _, f := range answer.Results {
		require.Subset(t, keysOf(t, f), []string{"rule", "guideline", "edition", "source", "answer", "reason", "inputs", "missing", "confirmed"})
	}
}

func TestRulesJSONIsAContract(t *testing.T) {
	t.Parallel()
	r := run(t, "", "rules", "--json")
	require.Equal(t, cli.Good, r.code, r.err)
	require.ElementsMatch(t, []string{"version", "rules"}, keysOf(t, json.RawMessage(r.out)))
	var book struct{ Rules []json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(r.out), &book))
	require.NotEmpty(t, book.Rules)
	for _, rule := range book.Rules {
		require.ElementsMatch(t, []string{"rule", "guideline", "edition", "source", "confirmed", "on"}, keysOf(t, rule))
	}
}

// ecura finds the answer of the eCura rule in the answer of assess --json.
func ecura(t *testing.T, out string) string {
	t.Helper()
	var answer struct {
		Results []struct{ Rule, Answer string }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	for _, r := range answer.Results {
		if r.Rule == "R2.gastric.curability.ecura" {
			return r.Answer
		}
	}
	return ""
}

// The limit of 500 µm is of the JGES/JGCA guideline (Ono H et al., Dig Endosc
// 2021;33:4-20, doi:10.1111/den.13883): below it eCura B, from it C-2.
func TestWhatIfShowsBeforeAndAfter(t *testing.T) {
	t.Parallel()
	report := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	histology := onDisk(t, "h.json", example(t, bleed, "02-histology.json"))
	require.Equal(t, "B", ecura(t, run(t, "", "assess", report, "--with", histology, "--json").out))

	r := run(t, "", "assess", report, "--with", histology, "--what-if", "lesion/1/histology/depth_um=650", "--json")
	require.Equal(t, cli.Good, r.code, r.err)
	var answer struct {
		Pairs []struct {
			Before, After *struct{ Rule, Answer string }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	seen := false
	for _, p := range answer.Pairs {
		if p.Before != nil && p.Before.Rule == "R2.gastric.curability.ecura" {
			require.Equal(t, "B", p.Before.Answer)
			require.Equal(t, "C-2", p.After.Answer)
			seen = true
		}
	}
	require.True(t, seen)

	r = run(t, "", "assess", report, "--with", histology, "--what-if", "lesion/1/histology/depth_um=650")
	require.Equal(t, cli.Good, r.code, r.err)
	require.Less(t, strings.Index(r.out, "C-2"), strings.Index(r.out, "Unchanged:"))
	r = run(t, "", "assess", report, "--with", histology, "--what-if", "lesion/1/histology/depth_um=330")
	require.Contains(t, r.out, "B ")
	// Without the depth nothing is assumed.
	r = run(t, "", "assess", report, "--with", histology, "--what-if", "lesion/1/histology/depth_um=", "--what-if", "lesion/1/histology/pt=pT1b")
	require.Contains(t, r.out, "cannot be assessed")
}

func TestBookFileSwitchesRules(t *testing.T) {
	t.Parallel()
	report := example(t, bleed, "01-report.json")
	off := onDisk(t, "book.json", `{"mark":"endo-1","switches":[{"rule":"R4.bleed.bestj","on":false}]}`)
	require.Contains(t, run(t, report, "assess", "-", "--json").out, "R4.bleed.bestj")
	require.NotContains(t, run(t, report, "assess", "-", "--json", "--book", off).out, "R4.bleed.bestj")
	r := run(t, "", "rules", "--json", "--book", off)
	require.Contains(t, r.out, "+endo-1")
	for content, says := range map[string]string{
		`{"mark":"x","switches":[{"rule":"R0.none","on":false}]}`: "R0.none",
		`{"switches":[]}`: "mark",
		`{"mark":"x","switches":[{"rule":"R4.bleed.bestj"}]}`: "on",
		`{"mark":"x","swiches":[]}`:                           "swiches",
		`{"mark":"x`:                                          "book",
	} {
		r := run(t, "", "rules", "--book", onDisk(t, "bad.json", content))
		require.Equal(t, cli.Usage, r.code, content)
		require.Contains(t, r.err, says)
	}
}

func TestTextKeepsWithinAHundredColumns(t *testing.T) {
	t.Parallel()
	report := onDisk(t, "r.json", example(t, bleed, "01-report.json"))
	histology := onDisk(t, "h.json", example(t, bleed, "02-histology.json"))
	for _, args := range [][]string{
		{"check", report}, {"assess", report, "--with", histology}, {"rules"}, {"rules", "R4.bleed.bestj"},
		{"assess", report, "--with", histology, "--what-if", "lesion/1/histology/depth_um=650"}, {"codes"},
	} {
		for _, line := range strings.Split(run(t, "", args...).out, "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(line), 100, "%v: %q", args, line)
		}
	}
}

func TestCompletionKnowsRulesAndSchemas(t *testing.T) {
	t.Parallel()
	require.Contains(t, run(t, "", "__complete", "rules", "R4").out, "R4.bleed.bestj")
	require.Contains(t, run(t, "", "__complete", "schemas", "").out, ".schema.json")
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		r := run(t, "", "completion", shell)
		require.Equal(t, cli.Good, r.code)
		require.Contains(t, r.out, "enbloc")
	}
}
