//go:build peers

package server_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"io"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/servertest"
)

// hostile is free text as nobody should write it: markup, entities, what breaks
// out of attributes and comments, templates, letters of every plane.
const hostile = `<script>alert(1)</script> & <img src=x onerror="alert(2)"> "'>]]> --> &lt;b&gt; \u003c {{7*7}} ${x} é 漢 𝔘 ` + "\t" + `end`

// What was written down comes back as it was written from each server: numbers
// with their digits, times with their zone, partial dates as they are, and text
// as text. One server is known to lose digits, and loses nothing else.
func TestWhatStandsIsWhatWasWritten(t *testing.T) {
	for _, h := range hospitals {
		t.Run(h.name, func(t *testing.T) {
			t.Parallel()
			base := os.Getenv(h.name)
			require.NotEmpty(t, base, "start the server and give its base URL in %s", h.name)
			s := servertest.Start(t, servertest.Options{Server: base})
			receipt := s.MustAccept("/cases", oddReport(t))
			s.Settle()

			read := map[string][]byte{}
			g := graphAt(t, s, receipt.Case, receipt.Sequence)
			for _, r := range g.Resources {
				if read[r.Key] == nil && !r.Shared {
					for _, found := range h.search(t, base, r.Type, receipt.Case) {
						read[roleKeyIn(string(found))] = found
					}
				}
			}
			digits, zones, hostiles := 0, 0, 0
			for _, r := range g.Resources {
				if r.Shared {
					continue
				}
				sent, got := leaves(t, r.Body), leaves(t, read[r.Key])
				require.NotEmpty(t, got, r.Role)
				for path, value := range sent {
					now := got[path]
					if value != now && h.loses != "" && sameNumber(value, now) {
						digits++
						continue
					}
					require.Equal(t, value, now, "%s %s", r.Role, path)
					zones += strings.Count(value, "+05:45")
					hostiles += strings.Count(value, "onerror")
				}
			}
			require.Equal(t, h.loses != "", digits > 0, "numbers that lost digits: %d", digits)
			require.Greater(t, zones, 20)
			require.GreaterOrEqual(t, hostiles, 3, "the comment, the stop and the narrative")
		})
	}
}

// oddReport has trailing zeros, a zone of 5 h 45 min, a date to the month and
// hostile text wherever a person may write.
func oddReport(t *testing.T) []byte {
	raw := newLife(t).document(bleedReport, func(d map[string]any) {
		lesion := d["lesions"].([]any)[0].(map[string]any)
		examination := lesion["examination"].(map[string]any)
		examination["size_long_mm"], examination["size_short_mm"] = json.Number("25.50"), json.Number("20.0")
		examination["height_mm"] = json.Number("1.50")
		lesion["comment"] = hostile
		before := d["before"].(map[string]any)
		before["indication_text"], before["inr"] = hostile, json.Number("1.10")
		before["earlier"].([]any)[0].(map[string]any)["date"] = "2026-02"
	})
	return bytes.ReplaceAll(raw, []byte("+01:00"), []byte("+05:45"))
}

// leaves are the values of a resource by their path, numbers as written. Left
// out is what a server may change: id, version, references, the order of tags.
func leaves(t *testing.T, raw []byte) map[string]string {
	t.Helper()
	out := map[string]string{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch x := v.(type) {
		case map[string]any:
			for name, child := range x {
				switch {
				case name == "meta" || name == "reference" || path == "" && name == "id":
				case name == "div":
					out[path+".div"] = textOf(t, child.(string))
				default:
					walk(path+"."+name, child)
				}
			}
		case []any:
			for i, child := range x {
				walk(path+"["+strconv.Itoa(i)+"]", child)
			}
		case json.Number:
			out[path] = x.String()
		case string:
			out[path] = x
		case bool:
			out[path] = strconv.FormatBool(x)
		}
	}
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.UseNumber()
	var tree any
	require.NoError(t, decoder.Decode(&tree))
	walk("", tree)
	return out
}

// textOf reads a narrative as a browser would: its words, with the elements of
// a report and no others.
func textOf(t *testing.T, div string) string {
	t.Helper()
	decoder := xml.NewDecoder(strings.NewReader(div))
	decoder.Entity = xml.HTMLEntity
	var b strings.Builder
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			return strings.Join(strings.Fields(b.String()), " ")
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.StartElement:
			require.NotContains(t, []string{"script", "img", "style", "iframe", "object"}, strings.ToLower(x.Name.Local))
			for _, a := range x.Attr {
				require.False(t, strings.HasPrefix(strings.ToLower(a.Name.Local), "on"), a.Name.Local)
			}
		case xml.CharData:
			b.Write(x)
			b.WriteByte(' ')
		}
	}
}

func sameNumber(a, b string) bool {
	x, okX := new(big.Rat).SetString(a)
	y, okY := new(big.Rat).SetString(b)
	return okX && okY && x.Cmp(y) == 0
}
