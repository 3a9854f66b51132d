package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"enbloc/mapping/report"
)

// This file and its neighbours turn the input of a published case into a
// report. There is one table for all cases: by rule, the context that the case
// leaves unsaid, and by field, where its value goes. No case has code of its
// own.

// caseReport is the report of one case under construction.
type caseReport struct {
	report.Report
	// after runs when all fields are set, for values that depend on another.
	after []func(*caseReport) error
}

func (c *caseReport) lesion() *report.Lesion            { return &c.Lesions[0] }
func (c *caseReport) seen() *report.Examination         { return &c.Lesions[0].Examination }
func (c *caseReport) resection() *report.Resection      { return c.Lesions[0].Resection }
func (c *caseReport) histology() *report.Histology      { return c.Lesions[0].Histology }
func (c *caseReport) event() *report.Event              { return &c.Events[0] }
func (c *caseReport) finally(f func(*caseReport) error) { c.after = append(c.after, f) }

// setter puts one value of a case into the report.
type setter func(c *caseReport, v json.RawMessage) error

// context is what the cases of one rule have in common.
type context struct {
	// start is the report before the first field: everything that a case of
	// this rule takes for granted.
	start  func() *caseReport
	fields map[string]setter
	// figures computes a case that speaks of a series instead of a report; it
	// is asked when one of its own fields is given (see figureFields).
	figures      func(in numbers) (map[string]any, error)
	figureFields []string
}

// evaluate runs one case: through the report and the rule, or through the
// statistics when the case speaks of a series.
func evaluate(c publishedCase) (map[string]any, error) {
	ctx, ok := contexts[c.Rule]
	if !ok {
		return nil, fmt.Errorf("unknown rule %q", c.Rule)
	}
	for name := range c.Input {
		if _, known := ctx.fields[name]; !known && !slices.Contains(ctx.figureFields, name) {
			return nil, fmt.Errorf("rule %s has no field %q", c.Rule, name)
		}
	}
	if ctx.figures != nil && usesAny(c.Input, ctx.figureFields) {
		in, err := numbersOf(c.Input)
		if err != nil {
			return nil, err
		}
		return ctx.figures(in)
	}
	if ctx.start == nil {
		return nil, fmt.Errorf("rule %s needs one of %v", c.Rule, ctx.figureFields)
	}
	rep, err := buildReport(ctx, c.Input)
	if err != nil {
		return nil, err
	}
	return askOnly(c.Rule, rep)
}

func buildReport(ctx context, input map[string]json.RawMessage) (report.Report, error) {
	build := ctx.start()
	for _, name := range sortedKeys(input) {
		if err := ctx.fields[name](build, input[name]); err != nil {
			return report.Report{}, fmt.Errorf("field %q: %w", name, err)
		}
	}
	for _, f := range build.after {
		if err := f(build); err != nil {
			return report.Report{}, err
		}
	}
	return build.Report, nil
}

// everything is the book with every rule on, as the published cases need it.
func everything() Book { return Book{Version: BookVersion} }

func askOnly(rule string, rep report.Report) (map[string]any, error) {
	for _, r := range everything().Assess(rep) {
		if r.Rule == rule {
			if len(r.Values) == 0 {
				return nil, fmt.Errorf("no values: %s: %s", r.Answer, r.Reason)
			}
			return r.Values, nil
		}
	}
	return nil, fmt.Errorf("rule %s gave no answer", rule)
}

func usesAny(input map[string]json.RawMessage, names []string) bool {
	return slices.ContainsFunc(names, func(n string) bool { _, ok := input[n]; return ok })
}

// numbers are the inputs of a case about a series.
type numbers map[string]float64

func numbersOf(input map[string]json.RawMessage) (numbers, error) {
	out := numbers{}
	for name, raw := range input {
		var v any
		if err := json.Unmarshal(raw, &v); err != nil {
			return nil, err
		}
		switch v := v.(type) {
		case float64:
			out[name] = v
		case string:
			if name != "method" || v != "Clopper-Pearson" {
				return nil, fmt.Errorf("field %q: unknown value %q", name, v)
			}
		default:
			return nil, fmt.Errorf("field %q: a number is needed", name)
		}
	}
	return out, nil
}

// need takes the named counts; a missing or broken one is an error.
func (n numbers) need(names ...string) ([]float64, error) {
	out := make([]float64, len(names))
	for i, name := range names {
		v, ok := n[name]
		if !ok {
			return nil, fmt.Errorf("field %q is needed", name)
		}
		out[i] = v
	}
	return out, nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// Setters by kind of value.

func number(to func(*caseReport) *report.Number) setter {
	return func(c *caseReport, v json.RawMessage) error {
		n, err := report.NewNumber(string(v))
		if err != nil || !n.Known() {
			return fmt.Errorf("value %s: a number is needed", v)
		}
		*to(c) = n
		return nil
	}
}

// numberOrNull takes null for "does not arise".
func numberOrNull(to func(*caseReport) *report.Number) setter {
	return func(c *caseReport, v json.RawMessage) error {
		if string(v) == "null" {
			return nil
		}
		return number(to)(c, v)
	}
}

func yesNo(to func(*caseReport) *report.Answer) setter {
	return flag(func(c *caseReport, is bool) {
		*to(c) = report.No
		if is {
			*to(c) = report.Yes
		}
	})
}

// flag takes true and false.
func flag(set func(c *caseReport, is bool)) setter {
	return func(c *caseReport, v json.RawMessage) error {
		switch string(v) {
		case "true", "false":
			set(c, string(v) == "true")
			return nil
		}
		return fmt.Errorf("value %s: true or false is needed", v)
	}
}

// zeroOne takes 0 for negative and 1 for positive.
func zeroOne(set func(c *caseReport, positive bool)) setter {
	return func(c *caseReport, v json.RawMessage) error {
		n, err := report.NewNumber(string(v))
		if f, ok := n.Value(); err == nil && ok && (f == 0 || f == 1) {
			set(c, f == 1)
			return nil
		}
		return fmt.Errorf("value %s: 0 or 1 is needed", v)
	}
}

func sign01(to func(*caseReport) *report.Sign) setter {
	return zeroOne(func(c *caseReport, positive bool) {
		*to(c) = report.Negative
		if positive {
			*to(c) = report.Positive
		}
	})
}

// word takes one of a list of words.
func word(words map[string]func(*caseReport)) setter {
	return func(c *caseReport, v json.RawMessage) error {
		var s string
		if err := json.Unmarshal(v, &s); err != nil {
			return fmt.Errorf("value %s: a word is needed", v)
		}
		set, ok := words[s]
		if !ok {
			return fmt.Errorf("unknown value %q; known are %v", s, sortedKeys(words))
		}
		set(c)
		return nil
	}
}

// whole takes a whole number of at least zero.
func whole(set func(c *caseReport, n int)) setter {
	return func(c *caseReport, v json.RawMessage) error {
		n, err := report.NewNumber(string(v))
		if f, ok := n.Value(); err == nil && ok && f >= 0 && f == math.Trunc(f) {
			set(c, int(f))
			return nil
		}
		return fmt.Errorf("value %s: a whole number is needed", v)
	}
}
