package schemas

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// seeds adds every good and every bad document of the tests.
func seeds(f *testing.F) {
	for _, pattern := range []string{"testdata/*.json", invalidFolder + "*.json"} {
		names, err := filepath.Glob(pattern)
		require.NoError(f, err)
		for _, name := range names {
			if strings.HasSuffix(name, wantSuffix) {
				continue
			}
			raw, err := os.ReadFile(name)
			require.NoError(f, err)
			f.Add(raw)
		}
	}
}

// FuzzDecodeReport: no input panics, and what is accepted says the same after
// it was written and read again.
func FuzzDecodeReport(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, raw []byte) {
		roundTrip(t, raw, DecodeReport)
		roundTrip(t, raw, DecodeHistology)
		roundTrip(t, raw, DecodeEvents)
	})
}

func roundTrip[T any](t *testing.T, raw []byte, decode func([]byte) (T, []report.Finding)) {
	var zero T
	first, findings := decode(raw)
	if len(findings) > 0 {
		require.True(t, report.Rejects(findings))
		require.True(t, reflect.DeepEqual(zero, first), "a refused document must not come out")
		return
	}
	again, err := json.Marshal(first)
	require.NoError(t, err)
	second, findings := decode(again)
	require.Empty(t, findings, "%s", again)
	// Compared as text: an empty list says the same as one that was left out.
	once, err := json.Marshal(second)
	require.NoError(t, err)
	require.Equal(t, string(again), string(once))
}

// FuzzScan compares the scanner with encoding/json: it accepts no text that is
// not JSON (RFC 8259), and refuses JSON only for one of its own, named reasons.
func FuzzScan(f *testing.F) {
	seeds(f)
	f.Add([]byte(`{"a":[1,-0.5,true,null,"\ud83d\ude00\u00e4\\"]}`))
	stricter := map[string]bool{
		"json.too-large": true, "json.byte-order-mark": true, "json.encoding": true, "json.too-deep": true,
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		s, tree := scan(raw)
		if !Malformed(s.findings) {
			require.True(t, json.Valid(raw))
			if len(s.findings) == 0 {
				sameTree(t, raw, tree)
			}
			return
		}
		halfPair := strings.Contains(s.findings[0].Text, "surrogate")
		require.True(t, stricter[s.findings[0].ID] || halfPair || !json.Valid(raw), s.findings[0].Text)
	})
}

// sameTree demands the tree that encoding/json builds.
func sameTree(t *testing.T, raw []byte, tree any) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var want any
	require.NoError(t, d.Decode(&want))
	require.Equal(t, want, tree)
}
