package intake

import (
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/report"
	"enbloc/server/store"
)

func key(name store.MatchName, value string) store.MatchKey {
	return store.MatchKey{Name: name, System: "https://hospital.example/sid", Value: value}
}

func TestAContradictionIsAnotherReportOrOrder(t *testing.T) {
	t.Parallel()
	ofCase := []store.MatchKey{key(store.ByReport, "R1"), key(store.ByOrder, "O1"), key(store.ByAccession, "A1")}
	for _, c := range []struct {
		name        string
		part        []store.MatchKey
		contradicts bool
	}{
		{"its report", []store.MatchKey{key(store.ByReport, "R1")}, false},
		{"another report", []store.MatchKey{key(store.ByReport, "R2"), key(store.ByAccession, "A1")}, true},
		{"another order", []store.MatchKey{key(store.ByReport, "R1"), key(store.ByOrder, "O2")}, true},
		{"one more accession", []store.MatchKey{key(store.ByReport, "R1"), key(store.ByAccession, "A2")}, false},
	} {
		require.Equal(t, c.contradicts, contradicts(c.part, ofCase), c.name)
	}
	// A case without an order contradicts no order.
	require.False(t, contradicts([]store.MatchKey{key(store.ByOrder, "O2")}, ofCase[:1]))
	require.True(t, intersects(ofCase[2:], ofCase))
	require.False(t, intersects([]store.MatchKey{key(store.ByOrder, "A1")}, ofCase))
}

func TestSameContentHasTheSameDigits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b string
		same bool
	}{
		{`{"a":1,"b":[1,2]}`, "{ \"b\" : [1,2],\n\"a\":1 }", true},
		{`{"a":"\u00b5"}`, `{"a":"µ"}`, true},
		{`{"a":1.5}`, `{"a":1.50}`, false},
		{`{"a":[1,2]}`, `{"a":[2,1]}`, false},
		{`{"a":1}`, `{"a":1,"b":""}`, false},
	} {
		require.Equal(t, c.same, sameContent([]byte(c.a), []byte(c.b)), c.a+" "+c.b)
	}
}

func TestPointersLeadIntoWhatWasSent(t *testing.T) {
	t.Parallel()
	merged := report.Report{
		Lesions: []report.Lesion{{Number: 4}, {Number: 7}},
		Events:  []report.Event{{ID: "E0"}, {ID: "E1"}},
	}
	histology := document{histology: report.HistologyPart{Results: []report.LesionHistology{{Lesion: 9}, {Lesion: 7}}}}
	require.Equal(t, "/results/1/histology/depth_um", histology.pointer("/lesions/1/histology/depth_um", merged))
	require.Empty(t, histology.pointer("/lesions/1/specimen", merged), "not in the part")
	require.Empty(t, histology.pointer("/lesions/0/histology/pt", merged))
	events := document{events: report.EventsPart{Events: []report.Event{{ID: "E1"}}}}
	require.Equal(t, "/events/0/outcome", events.pointer("/events/1/outcome", merged))
	require.Empty(t, events.pointer("/events/0/outcome", merged))
	require.Empty(t, events.pointer("/session/start", merged))
}
