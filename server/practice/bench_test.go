package practice_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
)

// BenchmarkTransaction is one case of 115 resources created whole, as a run of
// millions of writes does it; where something can be deleted the receiver counts
// references too.
func BenchmarkTransaction(b *testing.B) {
	golden, err := os.ReadFile(filepath.Join("..", "..", "testdata", "cases", "08-colon-emr-piecemeal", "want", "bundle.json"))
	require.NoError(b, err)
	var bundle bytes.Buffer
	require.NoError(b, json.Compact(&bundle, golden))
	keys := regexp.MustCompile(`\bk[0-9a-f]{40}\b`).FindAllIndex(bundle.Bytes(), -1)
	require.NotEmpty(b, keys)
	for name, shape := range map[string]practice.Shape{"plain": {}, "deletes": {Deletes: true}} {
		b.Run(name, func(b *testing.B) {
			r := practice.New("/fhir")
			for _, one := range [][3]string{
				{"Patient", "patient", "HTEST-P-0108"}, {"Encounter", "encounter", "HTEST-E-0108"},
				{"Practitioner", "practitioner", "HTEST-DR-106"}, {"Practitioner", "practitioner", "HTEST-DR-140"}, {"Practitioner", "practitioner", "HTEST-DR-220"},
			} {
				more := map[string]any{}
				if one[0] == "Encounter" {
					more = map[string]any{"status": "finished", "class": map[string]any{"code": "IMP"}}
				}
				_, err := r.Seed(one[0], "https://hospital.example/sid/"+one[1], one[2], more)
				require.NoError(b, err)
			}
			r.Shape(shape)
			n := 0
			for b.Loop() {
				n++
				for _, at := range keys { // another case each time
					copy(bundle.Bytes()[at[0]+1:], fmt.Sprintf("%08x", n))
				}
				rec := httptest.NewRecorder()
				req := httptest.NewRequest(http.MethodPost, "/fhir", bytes.NewReader(bundle.Bytes()))
				req.Header.Set("Content-Type", fhirJSON)
				r.ServeHTTP(rec, req)
				require.Equal(b, http.StatusOK, rec.Code, rec.Body.String())
				require.Contains(b, rec.Body.String(), "201 Created")
			}
		})
	}
}
