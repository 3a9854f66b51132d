package cases_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/testdata/cases"
)

// Every case says what it shows, begins with a report and reads without an
// unknown field.
func TestEveryCaseReads(t *testing.T) {
	t.Parallel()
	all := cases.All()
	require.GreaterOrEqual(t, len(all), 12)
	for _, c := range all {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			require.NotEmpty(t, c.Point, "README.md says nothing about it")
			require.Equal(t, cases.Report, c.Documents[0].Kind)
			for _, d := range c.Documents {
				decode(t, d)
			}
		})
	}
}

func decode(t *testing.T, d cases.Document) {
	t.Helper()
	var into any
	switch d.Kind {
	case cases.Report:
		into = &report.Report{}
	case cases.Histology:
		into = &report.HistologyPart{}
	case cases.Events:
		into = &report.EventsPart{}
	}
	dec := json.NewDecoder(bytes.NewReader(d.JSON))
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(into), d.File)
}

// Nobody could take an example for a patient: it is labelled, every value of
// an identifier begins with HTEST and every address lies at hospital.example.
func TestExamplesAreObviouslyInvented(t *testing.T) {
	t.Parallel()
	latest := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range cases.All() {
		for _, d := range c.Documents {
			var document map[string]any
			require.NoError(t, json.Unmarshal(d.JSON, &document))
			require.Equal(t, true, document["test_data"], "%s/%s", c.Name, d.File)
			walk(document, func(key string, value any) {
				text, ok := value.(string)
				switch {
				case !ok:
				case key == "system" || key == "source_system" || key == "url":
					require.True(t, strings.HasPrefix(text, "https://hospital.example/"), text)
				case key == "value":
					require.True(t, strings.HasPrefix(text, "HTEST-"), text)
				case strings.HasSuffix(key, "_at") || key == "start" || key == "end" || key == "at":
					when, err := time.Parse(time.RFC3339, text)
					require.NoError(t, err)
					require.Equal(t, 2026, when.Year(), text)
					require.True(t, when.Before(latest), text)
				}
			})
		}
	}
}

// walk visits every member of a JSON value.
func walk(v any, visit func(key string, value any)) {
	switch v := v.(type) {
	case map[string]any:
		for key, value := range v {
			visit(key, value)
			walk(value, visit)
		}
	case []any:
		for _, value := range v {
			walk(value, visit)
		}
	}
}
