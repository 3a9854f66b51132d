package schemas

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

func fullReport(b *testing.B) []byte {
	raw, err := os.ReadFile("testdata/gastric.json")
	require.NoError(b, err)
	_, findings := DecodeReport(raw) // compiles the schemas too
	require.Empty(b, findings)
	b.SetBytes(int64(len(raw)))
	b.ReportAllocs()
	return raw
}

// BenchmarkDecodeReport is all three gates on a report of about 10 KB.
func BenchmarkDecodeReport(b *testing.B) {
	raw := fullReport(b)
	for b.Loop() {
		DecodeReport(raw)
	}
}

// BenchmarkValidate is the second gate alone.
func BenchmarkValidate(b *testing.B) {
	_, tree := scan(fullReport(b))
	for b.Loop() {
		validate(tree, report.SchemaReport, nil)
	}
}

// BenchmarkGenericJSON is the baseline: encoding/json into any, unchecked.
func BenchmarkGenericJSON(b *testing.B) {
	raw := fullReport(b)
	for b.Loop() {
		var v any
		if err := json.Unmarshal(raw, &v); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkTypedJSON is encoding/json into the report's types, unchecked.
func BenchmarkTypedJSON(b *testing.B) {
	raw := fullReport(b)
	for b.Loop() {
		var r report.Report
		if err := json.Unmarshal(raw, &r); err != nil {
			b.Fatal(err)
		}
	}
}
