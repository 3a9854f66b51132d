package practice

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMoments(t *testing.T) {
	t.Parallel()
	for kind, texts := range map[string]map[string]bool{
		"date": {"2026": true, "2026-02": true, "2024-02-29": true, "2000-02-29": true, "2026-02-29": false, "1900-02-29": false, "2026-04-31": false, "2026-00": false,
			"2026-01-00": false, "0000": false, "202": false, "2026-": false, "2026-1": false, "2026-01-01T00:00:00Z": false, "": false, "2026-01-01 ": false, "x": false},
		"dateTime": {"2026": true, "2026-02-03": true, "2026-02-03T04:05:06Z": true, "2026-02-03T04:05:60.123456789+14:00": true, "2026-02-03T04:05:06-09:30": true,
			"2026-02T04:05:06Z": false, "2026-02-03T04:05Z": false, "2026-02-03T04:05:06": false, "2026-02-03T24:00:00Z": false, "2026-02-03T04:60:00Z": false,
			"2026-02-03T04:05:61Z": false, "2026-02-03T04:05:06.Z": false, "2026-02-03T04:05:06+14:01": false, "2026-02-03T04:05:06+9:00": false, "2026-02-03T04:05:06ZZ": false,
			"2026-02-03T04:05:06+09:60": false, "2026-02-03T": false, "2026-02-03t04:05:06Z": false},
		"instant": {"2026-02-03T04:05:06Z": true, "2026-02-03": false, "2026": false, "2026-02-03T04:05:06": false},
		"time":    {"04:05:06": true, "04:05:06.5": true, "04:05": false, "25:00:00": false, "04:05:06Z": false},
		"string":  {"2026-13-45": true},
	} {
		for text, want := range texts {
			require.Equal(t, want, validMoment(kind, text), "%s %q", kind, text)
		}
	}
}

func TestNarrativesAreWellFormed(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]bool{
		`<div xmlns="http://www.w3.org/1999/xhtml"><p>5 &lt; 6 &#8805; 4</p><br/></div>`: true,
		` <div a="x > y"><b></b ></div> `:                                                true,
		`<div><!-- <p> --></div>`:                                                        true,
		`<div/>`:                                                                         true,
		`<div><p></div>`:                                                                 false,
		`<div></p></div>`:                                                                false,
		`<div>`:                                                                          false,
		`<div></div><div></div>`:                                                         false,
		`<div></div>x`:                                                                   false,
		`<div>5 & 6</div>`:                                                               false,
		`<div><!-- </div>`:                                                               false,
		`<div><></div>`:                                                                  false,
		`<div <p></div>`:                                                                 false,
		`<p>x</p>`:                                                                       false,
		`plain`:                                                                          false,
		`<div>a<b></div></b>`:                                                            false,
	} {
		require.Equal(t, want, wellFormed(text), text)
	}
}

func TestDecimalsLoseTheirExponentAndNoDigit(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{"1e-3": "0.001", "1.0e2": "100", "1.50": "1.50", "-2.5E+1": "-25", "1.25e1": "12.5", "0.010e1": "0.10", "12e0": "12",
		"1e-0": "1", "0e5": "0", "1e9999": "1e9999"} {
		require.Equal(t, want, plain(json.Number(text)).String(), text)
	}
}

// primitives of R4 (http://hl7.org/fhir/R4/datatypes.html); a type that the table
// names and does not hold would be taken for one.
var primitives = strings.Fields("base64Binary boolean canonical code date dateTime decimal id instant integer markdown oid positiveInt string time unsignedInt uri url uuid xhtml")

func TestEveryTypeHasItsElements(t *testing.T) {
	t.Parallel()
	all := definitions()
	for name, k := range kinds {
		require.NotEmpty(t, all[name], name)
		for _, element := range k.required {
			if stem, choice := strings.CutSuffix(element, "[x]"); choice {
				n := 0
				for _, e := range all[name] {
					if e.choice == stem {
						n++
					}
				}
				require.Greater(t, n, 1, "%s.%s", name, element)
				continue
			}
			require.Contains(t, all[name], element, name)
		}
	}
	for name, d := range all {
		for element, e := range d {
			if e.primitive != "" {
				require.Contains(t, primitives, e.primitive, "%s.%s", name, element)
			}
		}
	}
	for place := range bindings {
		kind, element, _ := strings.Cut(place, ".")
		require.Contains(t, all[kind], element)
	}
}
