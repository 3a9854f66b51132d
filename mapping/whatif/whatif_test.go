package whatif_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/whatif"
)

const document = `{"before":{"inr":1.10},"events":[{"id":"E1","outcome":"ongoing"}],
"lesions":[{"number":2,"examination":{"paris":["0-IIa"]}},{"number":1,"histology":{"depth_um":300}}]}`

func TestAChangeIsMadeWhereItsPathSays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, change, want string }{
		{"lesion by its number, not its place", "lesion/1/histology/depth_um=650", `"depth_um":650`},
		{"digits stay as written", "lesion/1/histology/depth_um=650.0", `"depth_um":650.0`},
		{"other digits stay as well", "lesion/1/histology/depth_um=650", `"inr":1.10`},
		{"text without quotes", "lesion/1/histology/budding=BD2", `"budding":"BD2"`},
		{"text with quotes", `before/asa_class="3"`, `"asa_class":"3"`},
		{"list", `lesion/2/examination/paris=["0-IIa","0-IIc"]`, `"paris":["0-IIa","0-IIc"]`},
		{"element of a list", `/lesions/0/examination/paris/0=0-IIc`, `"paris":["0-IIc"]`},
		{"event by its id", "event/E1/outcome=resolved", `"outcome":"resolved"`},
		{"object that was missing", "lesion/2/histology/pt=pT1a", `"histology":{"pt":"pT1a"}`},
		{"a value with an equals sign", "before/indication_text=a=b", `"indication_text":"a=b"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			out, findings := whatif.Apply([]byte(document), []string{c.change})
			require.Empty(t, findings)
			require.Contains(t, string(out), c.want)
		})
	}
}

func TestAnEmptyValueLeavesTheFieldOut(t *testing.T) {
	t.Parallel()
	out, findings := whatif.Apply([]byte(document), []string{"before/inr=", "lesion/1/histology/depth_um="})
	require.Empty(t, findings)
	require.NotContains(t, string(out), "inr")
	require.NotContains(t, string(out), "depth_um")
	out, findings = whatif.Apply([]byte(document), []string{"lesions/0="})
	require.Empty(t, findings)
	require.NotContains(t, string(out), "paris")
	require.Contains(t, string(out), "depth_um")
}

func TestAChangeThatCannotBeMadeIsNamed(t *testing.T) {
	t.Parallel()
	for _, change := range []string{"", "lesion/1/x", "=5", "lesion/9/histology/pt=pT1a", "event/E9/outcome=fatal",
		"lesions/7/number=1", "lesions/x/number=1", "before/inr/digits=1"} {
		out, findings := whatif.Apply([]byte(document), []string{"before/inr=1", change})
		require.Nil(t, out, change)
		require.Len(t, findings, 1, change)
		require.Equal(t, "/changes/1", findings[0].Pointer, change)
	}
	for _, changes := range [][]string{nil, strings.Split(strings.Repeat("a=1,", whatif.Most+1), ",")} {
		_, findings := whatif.Apply([]byte(document), changes)
		require.Equal(t, "/changes", findings[0].Pointer)
	}
	_, findings := whatif.Apply([]byte(`{"a":`), []string{"a=1"})
	require.NotEmpty(t, findings)
}
