package fhir

import (
	"encoding/xml"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A text that is written as it is must be one that escaping leaves alone.
func TestPlainTextNeedsNoEscaping(t *testing.T) {
	t.Parallel()
	for c := rune(0); c < 0x250; c++ {
		s := "a" + string(c) + "b"
		var escaped strings.Builder
		require.NoError(t, xml.EscapeText(&escaped, []byte(s)))
		if isPlain(s) {
			require.Equal(t, s, escaped.String())
		}
	}
	require.True(t, isPlain("Delayed bleeding: 4.7% (3 of 64), see table 2."))
}
