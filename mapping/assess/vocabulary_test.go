package assess

import (
	"encoding/json"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// vocabulary is the full extent of the case format: every rule with its
// fields, their types and, for words, the values.
type vocabulary map[string]struct {
	Input  map[string]vocabularyField `json:"input"`
	Expect map[string]vocabularyField `json:"expect"`
}

type vocabularyField struct {
	Type   []string `json:"type"`
	Values []string `json:"values"`
}

func readVocabulary(t testing.TB) vocabulary {
	raw, err := os.ReadFile("../../testdata/rules/vocabulary.json")
	require.NoError(t, err)
	var v vocabulary
	require.NoError(t, json.Unmarshal(raw, &v))
	require.NotEmpty(t, v)
	return v
}

// samples are values of a field: all words, both booleans, some numbers.
func (f vocabularyField) samples() []string {
	var out []string
	for _, v := range f.Values {
		quoted, _ := json.Marshal(v)
		out = append(out, string(quoted))
	}
	for _, kind := range f.Type {
		switch kind {
		case "boolean":
			out = append(out, "true", "false")
		case "null":
			out = append(out, "null")
		case "number":
			out = append(out, "0", "1")
		}
	}
	return out
}

// TestVocabularyIsUnderstood puts every field and value of the format through
// the adapter: each must be taken, and none may be taken that is not a word of
// its field.
func TestVocabularyIsUnderstood(t *testing.T) {
	t.Parallel()
	vocab := readVocabulary(t)
	for rule, entry := range vocab {
		ctx, known := contexts[rule]
		require.True(t, known, "rule %s", rule)
		for name, field := range entry.Input {
			if slices.Contains(ctx.figureFields, name) {
				continue
			}
			set, known := ctx.fields[name]
			require.True(t, known, "%s: field %s", rule, name)
			for _, v := range field.samples() {
				c := ctx.start()
				require.NoError(t, set(c, json.RawMessage(v)), "%s: %s = %s", rule, name, v)
			}
			require.Error(t, set(ctx.start(), json.RawMessage(`"no such word"`)), "%s: %s", rule, name)
		}
	}
	require.Len(t, contexts, len(vocab), "the adapter knows exactly the rules of the vocabulary")
}

// TestVocabularyIsAnswered makes sure that the book has every rule of the
// vocabulary and that every expected key is one that its cases can produce.
func TestVocabularyIsAnswered(t *testing.T) {
	t.Parallel()
	ids := map[string]bool{}
	for _, d := range DefaultBook().Print().Rules {
		require.False(t, ids[d.Rule], "%s stands in the book twice", d.Rule)
		ids[d.Rule] = true
	}
	for rule := range readVocabulary(t) {
		require.True(t, ids[rule], "the book has no rule %s", rule)
	}
}
