package layout

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestColourOnlyUnderlinesAWord(t *testing.T) {
	t.Parallel()
	var plain, coloured strings.Builder
	for _, p := range []*Page{{w: &plain, width: 80}, {w: &coloured, width: 80, colour: true}} {
		p.Item(0, 10, "ERROR", "text")
		p.Item(0, 10, "advice", "text")
		p.Table(0, []string{"A", "B"}, [][]string{{"WARNING", "x"}})
	}
	strip := strings.NewReplacer(sgrReset, "", sgrBold, "", sgrRed, "", sgrYellow, "", sgrGreen, "")
	require.Contains(t, coloured.String(), sgrRed+"ERROR"+sgrReset)
	require.Contains(t, coloured.String(), sgrYellow+"WARNING"+sgrReset)
	require.Equal(t, plain.String(), strip.Replace(coloured.String()))
}
