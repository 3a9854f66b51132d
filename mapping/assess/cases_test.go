package assess

import (
	"bytes"
	"encoding/json"
	flags "flag"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

var casesPath = flags.String("cases", "../../testdata/rules/cases.json", "file of published cases to run")

// publishedCase is one case of the file: an input, what the publication
// answers, and whether the publication itself was seen to say so.
type publishedCase struct {
	ID        string                     `json:"id"`
	Rule      string                     `json:"rule"`
	Source    string                     `json:"source"`
	Confirmed bool                       `json:"confirmed"`
	Input     map[string]json.RawMessage `json:"input"`
	Expect    map[string]json.RawMessage `json:"expect"`
	Note      string                     `json:"note"`
}

func readCases(t testing.TB, path string) []publishedCase {
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	var cases []publishedCase
	require.NoError(t, dec.Decode(&cases), "reading %s", path)
	require.NotEmpty(t, cases)
	return cases
}

// TestPublishedCases runs every case of the file against the rules. A case
// that is not confirmed tests our reading of the source, not the source.
func TestPublishedCases(t *testing.T) {
	t.Parallel()
	for _, c := range readCases(t, *casesPath) {
		t.Run(c.ID, func(t *testing.T) {
			t.Logf("source: %s", c.Source)
			if !c.Confirmed {
				t.Logf("not confirmed: this tests our reading (%s)", c.Note)
			}
			require.NoError(t, runCase(c))
		})
	}
}

// runCase compares what the rules answer with what the case expects.
func runCase(c publishedCase) error {
	got, err := evaluate(c)
	if err != nil {
		return err
	}
	if len(c.Expect) == 0 {
		return fmt.Errorf("case %s expects nothing", c.ID)
	}
	for _, key := range sortedKeys(c.Expect) {
		have, ok := got[key]
		if !ok {
			return fmt.Errorf("the answer has no %q; it has %v", key, sortedKeys(got))
		}
		var want any
		if err := json.Unmarshal(c.Expect[key], &want); err != nil {
			return err
		}
		if !agrees(key, want, have) {
			return fmt.Errorf("%s: published %v, computed %v", key, want, have)
		}
	}
	return nil
}

// tolerance is half a unit of the last place that the publication prints;
// figures not named here must agree exactly.
func tolerance(key string) float64 {
	switch {
	case slices.Contains([]string{"sens_pct", "spec_pct", "ppv_pct", "npv_pct", "accuracy_pct"}, key):
		return 0.1 // the abstract cuts some of its figures where it should round them
	case key == "area_mm2" || key == "lower_pct" || key == "upper_pct":
		return 0.05 + 1e-9
	case key == "mm2_per_min" || key == "cm2_per_h":
		return 0.0005 + 1e-9
	case slices.Contains([]string{"p", "lower", "upper", "l95", "u95", "l998", "u998"}, key):
		return 0.00005 + 1e-9
	}
	return 0
}

func agrees(key string, want, have any) bool {
	switch want := want.(type) {
	case float64:
		have, ok := have.(float64)
		return ok && math.Abs(want-have) <= tolerance(key)
	case []any:
		have, ok := have.([]float64)
		return ok && slices.EqualFunc(want, have, func(w any, h float64) bool { return w == any(h) })
	}
	return want == have
}

// TestCasesCanFail guards the runner: a wrong expectation, an unknown rule, an
// unknown field, an unknown value and an unknown key must each fail.
func TestCasesCanFail(t *testing.T) {
	t.Parallel()
	good := readCases(t, "../../testdata/rules/cases.json")
	for _, c := range good {
		for key, want := range c.Expect {
			broken := c
			broken.Expect = map[string]json.RawMessage{key: contradict(t, want)}
			require.Error(t, runCase(broken), "%s passes with a wrong %s", c.ID, key)
		}
	}
	base := publishedCase{ID: "x", Rule: "R2.gastric.curability.ecura", Expect: map[string]json.RawMessage{"ecura": json.RawMessage(`"A"`)},
		Input: map[string]json.RawMessage{"dominant": json.RawMessage(`"differentiated"`)}}
	for name, spoil := range map[string]func(c *publishedCase){
		"unknown rule":   func(c *publishedCase) { c.Rule = "R2.gastric.curability.nobody" },
		"unknown field":  func(c *publishedCase) { c.Input = map[string]json.RawMessage{"colour": json.RawMessage(`"red"`)} },
		"unknown value":  func(c *publishedCase) { c.Input = map[string]json.RawMessage{"dominant": json.RawMessage(`"blue"`)} },
		"unknown key":    func(c *publishedCase) { c.Expect = map[string]json.RawMessage{"colour": json.RawMessage(`"red"`)} },
		"wrong type":     func(c *publishedCase) { c.Input = map[string]json.RawMessage{"size_mm": json.RawMessage(`"large"`)} },
		"no expectation": func(c *publishedCase) { c.Expect = nil },
	} {
		c := base
		spoil(&c)
		require.Error(t, runCase(c), name)
	}
}

// contradict returns a value of the same kind that is wrong.
func contradict(t *testing.T, raw json.RawMessage) json.RawMessage {
	var v any
	require.NoError(t, json.Unmarshal(raw, &v))
	switch v := v.(type) {
	case bool:
		v = !v
		return json.RawMessage(fmt.Sprint(v))
	case float64:
		return json.RawMessage(fmt.Sprint(v + 1))
	case string:
		return json.RawMessage(`"` + v + `?"`)
	}
	return json.RawMessage(`[1, 2, 3]`)
}
