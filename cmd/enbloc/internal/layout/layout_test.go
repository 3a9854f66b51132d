package layout_test

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"enbloc/cmd/enbloc/internal/layout"
)

func env(pairs ...string) func(string) string {
	return func(name string) string {
		for i := 0; i < len(pairs); i += 2 {
			if pairs[i] == name {
				return pairs[i+1]
			}
		}
		return ""
	}
}

func TestWrapKeepsEveryWord(t *testing.T) {
	t.Parallel()
	text := "The depth of 650 µm lies beyond 500 µm; see https://doi.org/10.1111/den.13883 for the table and what follows."
	for width := 8; width < 120; width++ {
		lines := layout.Wrap(text, width)
		require.Equal(t, strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(strings.Join(lines, ""), " ", ""))
		for _, l := range lines {
			require.LessOrEqual(t, utf8.RuneCountInString(l), width)
		}
	}
	require.Nil(t, layout.Wrap("", 20))
	require.Equal(t, []string{"one", "two"}, layout.Wrap("one\ntwo", 20))
}

func TestTableKeepsWithinThePage(t *testing.T) {
	t.Parallel()
	rows := [][]string{{"R2.gastric.curability.ecura", strings.Repeat("a sentence of many words ", 12), "primary"},
		{"short", "also short", "second-hand"}}
	for _, columns := range []string{"60", "80", "100", "400"} {
		var b strings.Builder
		p := layout.New(&b, env("COLUMNS", columns))
		p.Table(2, []string{"Rule", "Reason", "Confirmed"}, rows)
		require.NoError(t, p.Err())
		for _, l := range strings.Split(b.String(), "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(l), p.Width(), "%q", l)
			require.Equal(t, strings.TrimRight(l, " "), l, "trailing blanks")
		}
		for _, word := range []string{"sentence", "many", "words"} {
			require.Equal(t, 12, strings.Count(b.String(), word), word)
		}
	}
}

func TestItemHangsUnderItsText(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	p := layout.New(&b, env("COLUMNS", "50"))
	p.Item(2, 10, "ERROR", "The specimen is smaller than the lesion it came from.")
	require.Equal(t, "  ERROR     The specimen is smaller than the\n            lesion it came from.\n", b.String())
}

func TestNoColourWhereNobodyLooks(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	p := layout.New(&b, env())
	p.Title("Lesion 1")
	p.Item(0, 8, "ERROR", "text")
	require.NotContains(t, b.String(), "\x1b")
}

func TestCleanDisarmsTheTerminal(t *testing.T) {
	t.Parallel()
	require.Equal(t, "a\uFFFD[2Jb\uFFFDc µm", layout.Clean("a\x1b[2Jb\u202ec µm"))
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("pipe closed") }

func TestErrIsTheFirst(t *testing.T) {
	t.Parallel()
	p := layout.New(broken{}, env())
	p.Text(0, "one")
	p.Text(0, "two")
	require.EqualError(t, p.Err(), "pipe closed")
}
