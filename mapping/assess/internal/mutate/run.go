package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

// runtime is added to each package: it makes the change whose number stands
// in the environment.
const runtime = `package %s

import (
	"os"
	"strconv"
)

var mutantActive, _ = strconv.Atoi(os.Getenv("MUTANT"))

func mutantBool(number int, is, would bool) bool {
	if number == mutantActive {
		return would
	}
	return is
}

func mutantMove[T int | float64](number int, v T) T {
	if number == mutantActive {
		return v + 1
	}
	return v
}
`

// runtimeFact goes into the package of the rules, which has facts.
const runtimeFact = `
func mutantFact(number int, is, would func() fact) fact {
	if number == mutantActive {
		return would()
	}
	return is()
}
`

// quick are the tests that notice most changes; the rest run only on what
// these let through.
const quick = "Published|Edges|Answers|Missing|Undivided|Hole|Swap|Drugs|Steps|Two|Wilson|Clopper|Funnel|LCCUSUM|Marks|Area"

// binaries are the test binaries with every change built in.
type binaries struct{ dir, rules, stats string }

func run(sources []*source) ([]mutant, error) {
	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return nil, fmt.Errorf("making scratch folder: %w", err)
	}
	defer os.RemoveAll(dir)
	overlay, err := instrumented(dir, sources)
	if err != nil {
		return nil, err
	}
	b, err := build(dir, overlay)
	if err != nil {
		return nil, err
	}
	if b.notices(0) {
		return nil, fmt.Errorf("running the tests without any change: they fail")
	}
	var survived []mutant
	tried := 0
	for _, s := range sources {
		for _, m := range s.mutants {
			noticed := false
			if m.constant == nil {
				noticed = b.notices(m.number)
			} else if noticed, err = noticesConstant(dir, s, m); err != nil {
				return nil, err
			}
			if tried++; !noticed {
				survived = append(survived, m)
				fmt.Println("survived:", m)
			}
			if tried%100 == 0 {
				fmt.Println(tried, "tried,", len(survived), "survived")
			}
		}
	}
	return survived, nil
}

// instrumented writes the rewritten files and the overlay that lays them over
// the true ones.
func instrumented(dir string, sources []*source) (string, error) {
	replace := map[string]string{}
	add := func(path, text string) error {
		absolute, err := filepath.Abs(path)
		if err != nil {
			return fmt.Errorf("locating %s: %w", path, err)
		}
		copied := filepath.Join(dir, strconv.Itoa(len(replace))+".go")
		replace[absolute] = copied
		return os.WriteFile(copied, []byte(text), 0o600)
	}
	for _, s := range sources {
		if err := add(s.name, s.rewrite(0, len(s.text))); err != nil {
			return "", err
		}
	}
	if err := add("mapping/assess/mutant_runtime.go", fmt.Sprintf(runtime, "assess")+runtimeFact); err != nil {
		return "", err
	}
	if err := add("mapping/assess/stats/mutant_runtime.go", fmt.Sprintf(runtime, "stats")); err != nil {
		return "", err
	}
	return writeOverlay(dir, "overlay.json", replace)
}

func writeOverlay(dir, name string, replace map[string]string) (string, error) {
	text, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", fmt.Errorf("encoding overlay: %w", err)
	}
	path := filepath.Join(dir, name)
	return path, os.WriteFile(path, text, 0o600)
}

func build(dir, overlay string) (binaries, error) {
	b := binaries{dir, filepath.Join(dir, "rules.test"), filepath.Join(dir, "stats.test")}
	for binary, pkg := range map[string]string{b.rules: "./mapping/assess", b.stats: "./mapping/assess/stats"} {
		text, err := exec.Command("go", "test", "-c", "-vet=off", "-overlay="+overlay, "-o", binary, pkg).CombinedOutput()
		if err != nil {
			return b, fmt.Errorf("building the changed tests: %w\n%s", err, text)
		}
	}
	return b, nil
}

// notices reports whether a test fails with the change of the given number:
// the quick tests first, then all. The time allowed is long, so that a busy
// machine is not taken for a test that noticed.
func (b binaries) notices(number int) bool {
	fails := func(binary, dir, pattern string) bool {
		cmd := exec.Command(binary, "-test.failfast", "-test.timeout=5m", "-test.run="+pattern)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "MUTANT="+strconv.Itoa(number))
		return cmd.Run() != nil
	}
	return fails(b.rules, "mapping/assess", quick) || fails(b.stats, "mapping/assess/stats", quick) ||
		fails(b.rules, "mapping/assess", ".") || fails(b.stats, "mapping/assess/stats", ".")
}

// noticesConstant builds one changed constant and runs the tests on it.
func noticesConstant(dir string, s *source, m mutant) (bool, error) {
	absolute, err := filepath.Abs(s.name)
	if err != nil {
		return false, fmt.Errorf("locating %s: %w", s.name, err)
	}
	copied := filepath.Join(dir, "constant.go")
	if err := os.WriteFile(copied, []byte(s.withConstant(m)), 0o600); err != nil {
		return false, fmt.Errorf("writing changed constant: %w", err)
	}
	overlay, err := writeOverlay(dir, "constant.json", map[string]string{absolute: copied})
	if err != nil {
		return false, err
	}
	packages := []string{"./mapping/assess"}
	if strings.Contains(s.name, "/stats/") {
		packages = append(packages, "./mapping/assess/stats")
	}
	arguments := append([]string{"test", "-count=1", "-vet=off", "-failfast", "-overlay=" + overlay}, packages...)
	return exec.Command("go", arguments...).Run() != nil, nil
}
