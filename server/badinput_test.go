package server_test

import (
	"bytes"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

// replaced exchanges one text of a document; the text must be there.
func replaced(t *testing.T, raw []byte, before, after string) []byte {
	t.Helper()
	require.Contains(t, string(raw), before)
	return bytes.Replace(raw, []byte(before), []byte(after), 1)
}

// TestBadInputLeavesNothingBehind sends what should never be sent. Each is
// refused with a status, in words, at its place, and no row stays.
func TestBadInputLeavesNothingBehind(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	good := example(t, gastricReport)
	cases := []struct {
		name    string
		path    string
		body    []byte
		status  int
		pointer string // "-" for none
	}{
		{"truncated", "/cases", good[:len(good)/2], 400, "-"},
		{"empty", "/cases", []byte{}, 400, "-"},
		{"not JSON", "/cases", []byte("<report/>"), 400, "-"},
		{"two documents", "/cases", append(bytes.Clone(good), good...), 400, "-"},
		{"10,000 levels of lists", "/cases", []byte(strings.Repeat("[", 10_000) + strings.Repeat("]", 10_000)), 400, "-"},
		{"10,000 levels of objects", "/histology", []byte(strings.Repeat(`{"a":`, 10_000) + "1" + strings.Repeat("}", 10_000)), 400, "-"},
		{"invalid UTF-8", "/cases", replaced(t, good, `"HTEST-P-0101"`, "\"HTEST-\xff\xfe\""), 400, ""},
		{"byte order mark", "/cases", append([]byte("\xef\xbb\xbf"), good...), 400, "-"},
		{"duplicate field", "/cases", replaced(t, good, `"revision": 1,`, `"revision": 1, "revision": 2,`), 422, "/revision"},
		{"number that no decimal holds", "/cases", example(t, gastricReport, "before/inr=1e999"), 422, "/before/inr"},
		{"exponent", "/cases", example(t, gastricReport, "lesions/0/examination/size_long_mm=0.1e-5"), 422, "/lesions/0/examination/size_long_mm"},
		{"unit in the value", "/cases", example(t, gastricReport, "lesions/0/examination/size_long_mm=22 mm"), 422, "/lesions/0/examination/size_long_mm"},
		{"unknown field", "/cases", example(t, gastricReport, "lesions/0/examination/size_cm=2"), 422, "/lesions/0/examination/size_cm"},
		{"date without zone", "/cases", example(t, gastricReport, "written_at=2026-02-10T11:20:00"), 422, "/written_at"},
		{"unknown word", "/cases", example(t, gastricReport, "lesions/0/resection/technique=peeled"), 422, "/lesions/0/resection/technique"},
		{"other format version", "/cases", example(t, gastricReport, "schema=enbloc.report/2"), 422, "/schema"},
		{"a part sent as a report", "/cases", example(t, gastricHistology), 422, "/schema"},
		{"a report sent as a part", "/histology", good, 422, "/schema"},
		{"a list", "/events", []byte("[]"), 422, ""},
		{"null", "/cases", []byte("null"), 422, ""},
		{"a part that names no case", "/histology", example(t, gastricHistology, "match={}"), 422, "/match"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			p := problemOf(t, s.Do(http.MethodPost, c.path, c.body), c.status)
			if c.pointer == "-" {
				return
			}
			var at []string
			for _, f := range p.Findings {
				at = append(at, f.Pointer)
				require.NotEmpty(t, f.ID)
				require.NotEmpty(t, f.Text)
				require.NotEmpty(t, f.Mend)
				require.NotEmpty(t, f.Source)
			}
			require.Contains(t, at, c.pointer)
		})
	}
	for table, n := range s.Rows() {
		require.Zero(t, n, table)
	}
}

func TestALongBodyIsRefusedUnread(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	long := bytes.Repeat([]byte(" "), 50<<20)
	// 100-continue lets the refusal come before the body is sent, as its length
	// is known; without a length it is read up to the limit.
	problemOf(t, s.Do(http.MethodPost, "/cases", long, "Expect", "100-continue"), http.StatusRequestEntityTooLarge)
	// Exactly the limit is read, and refused for its content.
	problemOf(t, s.Do(http.MethodPost, "/cases", long[:2_000_000]), http.StatusBadRequest)
	problemOf(t, s.Do(http.MethodPost, "/cases", long[:2_000_001]), http.StatusRequestEntityTooLarge)
	require.Zero(t, s.Rows()["documents"])
}

func TestOnlyJSONIsRead(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{Undelivered: true})
	for _, header := range [][]string{
		{"Content-Type", ""},
		{"Content-Type", "text/plain"},
		{"Content-Type", "application/fhir+json"},
		{"Content-Type", "application/json; charset=iso-8859-1"},
		{"Content-Encoding", "gzip"},
	} {
		for _, path := range []string{"/cases", "/histology", "/events", "/check", "/assess", "/map", "/what-if"} {
			problemOf(t, s.Do(http.MethodPost, path, example(t, gastricReport), header...), http.StatusUnsupportedMediaType)
		}
	}
	a := s.Do(http.MethodPost, "/cases", example(t, gastricReport), "Content-Type", "application/json; charset=UTF-8")
	require.Equal(t, http.StatusAccepted, a.Status)
}
