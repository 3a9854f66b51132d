package assess

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

func TestWhatIf(t *testing.T) {
	t.Parallel()
	c := stated(gradedA, intoSM("420"))
	untouched, err := json.Marshal(c.Report)
	require.NoError(t, err)
	change, err := ParseChange("lesion/1/histology/depth_um=650")
	require.NoError(t, err)
	before, after, err := DefaultBook().WhatIf(c.Report, []Change{change})
	require.NoError(t, err)
	answers := func(results []Result, rule string) string {
		return results[slices.IndexFunc(results, func(r Result) bool { return r.Rule == rule })].Answer
	}
	require.Equal(t, "B", answers(before, "R2.gastric.curability.ecura"))
	require.Equal(t, "C-2", answers(after, "R2.gastric.curability.ecura"))
	require.Equal(t, answers(before, "R10.metric.en_bloc"), answers(after, "R10.metric.en_bloc"))
	again, err := json.Marshal(c.Report)
	require.NoError(t, err)
	require.JSONEq(t, string(untouched), string(again), "the report itself is left alone")
}

// TestChanges sets values of every kind by every kind of path.
func TestChanges(t *testing.T) {
	t.Parallel()
	base := func() *caseReport {
		c := uneventful(report.EventBleeding, report.Stomach)()
		c.lesion().Number = 7
		return c
	}
	for change, check := range map[string]func(r report.Report) bool{
		"lesion/7/histology/depth_um=1.50":                  func(r report.Report) bool { return r.Lesions[0].Histology.DepthUm.Text() == "1.50" },
		"/lesions/0/histology/pt=pT1b":                      func(r report.Report) bool { return r.Lesions[0].Histology.PT == report.PT1b },
		"lesion/7/examination/nice=2":                       func(r report.Report) bool { return r.Lesions[0].Examination.NICE == "2" },
		"lesion/7/histology/types=[\"tub1\",\"por2\"]":      func(r report.Report) bool { return len(r.Lesions[0].Histology.Types) == 2 },
		"lesion/7/histology/types/0=sig":                    func(r report.Report) bool { return r.Lesions[0].Histology.Types[0] == report.TypeSig },
		"event/e1/transfusion=yes":                          func(r report.Report) bool { return r.Events[0].Transfusion == report.Yes },
		"event/e1/transfusion=null":                         func(r report.Report) bool { return r.Events[0].Transfusion == "" },
		"event/e1/icu_nights=unknown":                       func(r report.Report) bool { return r.Events[0].ICUNights.Absence() == report.Unknown },
		"before/antithrombotics/0/class=warfarin":           func(r report.Report) bool { return r.Before.Antithrombotics[0].Class == report.Warfarin },
		"patient/age_y=80":                                  func(r report.Report) bool { return r.Patient.AgeY.Text() == "80" },
		"event/e1/occurred_at=2026-03-20T09:00:00+01:00":    func(r report.Report) bool { return r.Events[0].OccurredAt.Day() == "2026-03-20" },
		"lesion/7/histology=null":                           func(r report.Report) bool { return r.Lesions[0].Histology == nil },
		`lesion/7/resection={"technique":"esd","pieces":2}`: func(r report.Report) bool { return r.Lesions[0].Resection.Pieces.Text() == "2" },
		"event/e1/symptoms=[]":                              func(r report.Report) bool { return r.Events[0].Symptoms != nil && len(r.Events[0].Symptoms) == 0 },
	} {
		parsed, err := ParseChange(change)
		require.NoError(t, err, change)
		got, err := Changed(base().Report, []Change{parsed})
		require.NoError(t, err, change)
		require.True(t, check(got), change)
	}
}

// TestChangesThatAreRefused names what was wrong and what is near.
func TestChangesThatAreRefused(t *testing.T) {
	t.Parallel()
	c := uneventful(report.EventBleeding, report.Stomach)()
	for change, says := range map[string]string{
		"lesion/1/histology/dept_um=3":           "near are depth_um",
		"lesion/1/histologie/depth_um=3":         "near are histology",
		"lesion/9/histology/depth_um=3":          "the report has no lesion",
		"lesion/1=3":                             "a field follows",
		"event/x/transfusion=yes":                "no event of that id",
		"event/e1=yes":                           "a field follows",
		"lesion/1/histology/pt=pT1c":             "near are pT1",
		"lesion/1/histology/types=[\"tub9\"]":    "near are tub1",
		"lesion/1/histology/depth_um=deep":       "not a plain decimal",
		"lesion/1/histology/depth_um=1e3":        "not a plain decimal",
		"lesion/1/histology/depth_um=1 2":        "does not fit",
		"lesion/1/histology/depth_um/x=1":        "has no fields",
		"/lesions/5/comment=x":                   "no place in a list of 1",
		"/lesions/-1/comment=x":                  "no place in a list of 1",
		"before/antithrombotics/0/class=garlic":  "no value of this field",
		`lesion/1/resection={"tecnique":"esd"}`:  "does not fit",
		`lesion/1/resection={"technique":"esp"}`: "near are esd",
	} {
		parsed, err := ParseChange(change)
		require.NoError(t, err, change)
		_, _, err = DefaultBook().WhatIf(c.Report, []Change{parsed})
		require.ErrorContains(t, err, says, change)
	}
	for _, bad := range []string{"", "lesion/1/histology/pt", "=x"} {
		_, err := ParseChange(bad)
		require.Error(t, err, bad)
	}
}

// TestWordsAreThoseOfTheReport holds the table of words against the constants
// of package report.
func TestWordsAreThoseOfTheReport(t *testing.T) {
	t.Parallel()
	have := map[string][]string{}
	for typ, list := range words {
		have[typ.Name()] = list
	}
	names, err := filepath.Glob("../report/*.go")
	require.NoError(t, err)
	want := map[string][]string{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || spec.Type == nil || len(spec.Values) != 1 {
				return true
			}
			typ, isName := spec.Type.(*ast.Ident)
			value, isText := spec.Values[0].(*ast.BasicLit)
			if isName && isText && value.Kind == token.STRING && typ.Name != "Absence" && typ.Name != "Severity" {
				text, err := strconv.Unquote(value.Value)
				require.NoError(t, err)
				want[typ.Name] = append(want[typ.Name], text)
			}
			return true
		})
	}
	if want["ASAClass"] == nil { // six digits that need no names
		want["ASAClass"] = []string{"1", "2", "3", "4", "5", "6"}
	}
	for name, list := range want {
		require.ElementsMatch(t, list, have[name], name)
	}
	require.Len(t, have, len(want))
}

func TestDeepCopySharesNothing(t *testing.T) {
	t.Parallel()
	c := gradedA()
	copied := deepCopy(reflect.ValueOf(c.Report)).Interface().(report.Report)
	require.Equal(t, c.Report, copied)
	copied.Lesions[0].Histology.Types[0] = report.TypeSig
	require.Equal(t, report.TypeTub1, c.histology().Types[0])
}
