package whatif_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/assess"
	"enbloc/mapping/whatif"
)

func TestPairsKeepWhatIsNewAndWhatIsGone(t *testing.T) {
	t.Parallel()
	a, b, c := assess.Result{Rule: "a", Answer: "1"}, assess.Result{Rule: "b", Lesion: 1, Answer: "1"}, assess.Result{Rule: "c", Event: "E1", Answer: "1"}
	other := b
	other.Lesion = 2
	pairs := whatif.Pairs([]assess.Result{a, b}, []assess.Result{other, b, c})
	require.Len(t, pairs, 4)
	require.Nil(t, pairs[0].After, "gone")
	require.False(t, pairs[1].Changed)
	require.Equal(t, 2, pairs[2].Lesion, "the same rule about another lesion is another answer")
	require.Nil(t, pairs[3].Before, "new")
	require.Equal(t, "E1", pairs[3].Event)
	require.True(t, pairs[0].Changed && pairs[2].Changed && pairs[3].Changed)
	require.Empty(t, whatif.Pairs(nil, nil))
}

func TestWhatCountsAsChanged(t *testing.T) {
	t.Parallel()
	was := assess.Result{Rule: "a", Answer: "1", Reason: "So.", Missing: []string{}, Values: map[string]any{"points": 1.0}}
	for name, change := range map[string]func(r *assess.Result){
		"answer": func(r *assess.Result) { r.Answer = "2" }, "reason": func(r *assess.Result) { r.Reason = "Else." },
		"less is known": func(r *assess.Result) { r.Missing = []string{"/x"} }, "values": func(r *assess.Result) { r.Values = map[string]any{"points": 2.0} },
	} {
		is := was
		change(&is)
		require.True(t, whatif.Pairs([]assess.Result{was}, []assess.Result{is})[0].Changed, name)
	}
	require.False(t, whatif.Pairs([]assess.Result{was}, []assess.Result{was})[0].Changed)
}
