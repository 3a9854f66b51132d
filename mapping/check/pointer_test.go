package check

import (
	"encoding/json"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
)

// pointsIntoDocument demands that a pointer leads to a value, or to a field
// that its object could have: only the last token may be missing.
func pointsIntoDocument(t *testing.T, r report.Report, pointer string) {
	t.Helper()
	raw, err := json.Marshal(r)
	require.NoError(t, err)
	var node any
	require.NoError(t, json.Unmarshal(raw, &node))
	tokens := strings.Split(pointer, "/")[1:]
	for i, token := range tokens {
		switch v := node.(type) {
		case map[string]any:
			next, there := v[token]
			require.True(t, there || i >= len(tokens)-2, "%s leads nowhere", pointer)
			node = next
		case []any:
			n, err := strconv.Atoi(token)
			require.NoError(t, err, pointer)
			require.Less(t, n, len(v), pointer)
			node = v[n]
		default:
			// the parent was left out, and the field within it is what is missing
			require.Equal(t, len(tokens)-1, i, "%s leads nowhere", pointer)
		}
	}
}
