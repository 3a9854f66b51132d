package assess

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// randomReport fills every field of a report at random: words from their
// lists, absences, odd figures, holes. No clinic would write it; no rule may
// fall over it.
func randomReport(r *rand.Rand) report.Report {
	var rep report.Report
	fill(r, reflect.ValueOf(&rep).Elem(), 0)
	for i := range rep.Lesions {
		rep.Lesions[i].Number = i + 1
	}
	for i := range rep.Events {
		rep.Events[i].ID = "e" + strconv.Itoa(i)
	}
	return rep
}

func fill(r *rand.Rand, v reflect.Value, depth int) {
	switch v.Type() {
	case reflect.TypeFor[report.Number]():
		v.Set(reflect.ValueOf(pick(r, report.Number{}, report.Int(0), report.Int(1), report.Int(r.IntN(60)), report.Int(r.IntN(2000)),
			report.Float(float64(r.IntN(400))/10), report.Absent(report.Unknown), figure("-3"))))
		return
	case reflect.TypeFor[report.Time]():
		if r.IntN(4) > 0 {
			v.Set(reflect.ValueOf(moment(time.Duration(r.IntN(5000)-500) * time.Minute)))
		}
		return
	}
	switch v.Kind() {
	case reflect.String:
		if allowed := words[v.Type()]; len(allowed) > 0 && r.IntN(5) > 0 {
			v.SetString(allowed[r.IntN(len(allowed))])
		} else if len(allowed) > 0 {
			v.SetString(pick(r, "", "", "unknown", "not-assessed", "not-applicable"))
		}
	case reflect.Bool:
		v.SetBool(r.IntN(8) == 0)
	case reflect.Int:
		v.SetInt(int64(r.IntN(3)))
	case reflect.Pointer:
		if r.IntN(5) > 0 {
			v.Set(reflect.New(v.Type().Elem()))
			fill(r, v.Elem(), depth+1)
		}
	case reflect.Slice:
		n := r.IntN(4)
		if n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
		}
		for i := range n {
			fill(r, v.Index(i), depth+1)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			fill(r, v.Field(i), depth+1)
		}
	}
}

// TestAnyReportIsAnswered asks every rule about random reports: each answer
// names inputs that are there, says what is missing if it cannot answer, and
// is the same when asked again.
func TestAnyReportIsAnswered(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(20260310, 5))
	for range 600 {
		rep := randomReport(r)
		raw, err := json.Marshal(rep)
		require.NoError(t, err)
		var document any
		require.NoError(t, json.Unmarshal(raw, &document))
		results := everything().Assess(rep)
		require.Equal(t, results, everything().Assess(rep))
		seen := map[string]bool{}
		for _, got := range results {
			key := got.Rule + "|" + strconv.Itoa(got.Lesion) + "|" + got.Event
			require.False(t, seen[key], "two answers for %s", key)
			seen[key] = true
			requireSound(t, got, document)
		}
	}
}

// requireSound checks what holds of every answer.
func requireSound(t *testing.T, got Result, document any) {
	require.NotEmpty(t, got.Inputs, got.Rule)
	require.NotNil(t, got.Missing, got.Rule)
	require.NotEmpty(t, got.Answer, got.Rule)
	require.NotEmpty(t, got.Cautions, got.Rule)
	require.True(t, strings.HasSuffix(got.Reason, "."), "%s: %q", got.Rule, got.Reason)
	require.NotContains(t, got.Reason, "  ", got.Rule)
	require.True(t, slices.Contains(strength, got.Confirmed), got.Rule)
	for _, at := range got.Inputs {
		require.True(t, present(document, at), "%s names the input %s, which is not there (%s)", got.Rule, at, got.Reason)
	}
	switch got.Answer {
	case CannotBeAssessed:
		require.NotEmpty(t, got.Missing, "%s: %s", got.Rule, got.Reason)
		require.Empty(t, got.Values, got.Rule)
		require.Nil(t, got.Risk, got.Rule)
	case NotApplicable:
		require.Empty(t, got.Values, got.Rule)
	}
	if got.Confirmed == Memory {
		require.Contains(t, got.Cautions, cautionMemory)
	}
	_, err := json.Marshal(got)
	require.NoError(t, err, got.Rule)
}

// present reports whether a JSON Pointer leads to something in the document.
func present(document any, pointer string) bool {
	for _, step := range strings.Split(pointer, "/")[1:] {
		switch v := document.(type) {
		case map[string]any:
			document = v[step]
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(v) {
				return false
			}
			document = v[i]
		default:
			return false
		}
		if document == nil {
			return false
		}
	}
	return true
}
