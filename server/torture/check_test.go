package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/internal/child"
	"enbloc/server/practice"
	"enbloc/server/store"
)

// observation is a resource of the case "c1" with a value; under a key with "s/"
// it serves many cases.
func observation(key, value string) string {
	tag := `"meta":{"tag":[{"system":"` + graph.CaseKeySystem + `","code":"c1"}]},`
	if strings.HasPrefix(key, "s/") {
		tag = ""
	}
	return `{"resourceType":"Observation",` + tag + `"status":"final","code":{"text":"HTEST"},"valueString":"` + value + `",` +
		`"identifier":[{"system":"` + graph.RoleKeySystem + `","value":"` + key + `"}]}`
}

func state(sequence int, values map[string]string) graph.Graph {
	g := graph.Graph{CaseKey: "c1", Sequence: sequence}
	for _, k := range []string{"k1", "k2"} {
		if v, ok := values[k]; ok {
			g.Resources = append(g.Resources, graph.Resource{Role: k, Key: k, Type: "Observation", UUID: k, Body: json.RawMessage(observation(k, v)), SearchBy: graph.ByIdentifier})
		}
	}
	return g
}

// written is a receiver that was written as [journalOf] says.
func written(t *testing.T, lines ...string) surveyed {
	t.Helper()
	s, err := survey(journalOf(t, lines...))
	require.NoError(t, err)
	return s
}

// journalOf is that of a receiver that was written as the lines say: "k1=a"
// creates or updates the resource under k1, "+k1=a" creates one more.
func journalOf(t *testing.T, lines ...string) []practice.Write {
	t.Helper()
	r := practice.New("")
	ids := map[string]string{}
	for _, line := range lines {
		key, value, _ := strings.Cut(strings.TrimPrefix(line, "+"), "=")
		method, path, body := http.MethodPost, "/Observation", observation(key, value)
		if id := ids[key]; id != "" && !strings.HasPrefix(line, "+") {
			method, path, body = http.MethodPut, path+"/"+id, `{"id":"`+id+`",`+body[1:]
		}
		w, req := httptest.NewRecorder(), httptest.NewRequest(method, path, strings.NewReader(body))
		req.Header.Set("Content-Type", "application/fhir+json")
		r.ServeHTTP(w, req)
		require.Less(t, w.Code, 300, w.Body.String())
		var stored struct{ ID string }
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &stored))
		ids[key] = stored.ID
	}
	return r.Journal()
}

// The checker is only worth what it finds: each way to go wrong is found, by its
// own count, and what is right is not.
func TestTheCheckerFindsWhatIsWrong(t *testing.T) {
	t.Parallel()
	expected, err := expect([]graph.Graph{state(1, map[string]string{"k1": "a"}), state(2, map[string]string{"k1": "b", "k2": "x"}),
		state(3, map[string]string{"k1": "c", "k2": "x"})})
	require.NoError(t, err)
	for name, c := range map[string]struct {
		journal []string
		want    verdict
	}{
		"right":               {[]string{"k1=a", "k1=b", "k2=x", "k1=c"}, verdict{}},
		"a state overtaken":   {[]string{"k1=a", "k2=x", "k1=c"}, verdict{}},
		"written twice equal": {[]string{"k1=a", "k1=b", "k2=x", "k1=c", "k1=c"}, verdict{Repeated: 1}},
		"written back equal":  {[]string{"k1=a", "k1=b", "k2=x", "k2=x", "k1=c", "k1=c", "k1=c"}, verdict{Repeated: 3}},
		"never came":          {[]string{"k1=a", "k1=b", "k1=c"}, verdict{Lost: 1}},
		"the last is missing": {[]string{"k1=a", "k1=b", "k2=x"}, verdict{Lost: 1}},
		"gone back":           {[]string{"k1=a", "k1=b", "k2=x", "k1=c", "k1=b", "k1=c"}, verdict{Disordered: 1}},
		"foreign content":     {[]string{"k1=a", "k1=z", "k2=x", "k1=c"}, verdict{Foreign: 1}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			journal := journalOf(t, c.journal...)
			s, err := survey(journal)
			require.NoError(t, err)
			var v verdict
			v.checkStanding(s, "c1", expected)
			v.checkOrder(s, "c1", expected)
			v.checkRepeated(s, journal)
			v.Examples = nil
			require.Equal(t, c.want, v)
			require.Equal(t, c.want.Lost+c.want.Disordered+c.want.Foreign+c.want.Repeated == 0, v.Good())
		})
	}
}

func TestTheCheckerFindsDoublesAndFalseRows(t *testing.T) {
	t.Parallel()
	s := written(t, "k1=a", "+k1=a", "k2=x")
	require.Len(t, s.places["k1"], 2)
	require.Len(t, s.places["k2"], 1)
	id := strings.TrimPrefix(s.places["k2"][0], "Observation/")
	right := store.LedgerEntry{RoleKey: "k2", Role: "k2", Type: "Observation", ServerID: id, Version: "1", Body: []byte(observation("k2", "x"))}
	for name, c := range map[string]struct {
		change func(*store.LedgerEntry)
		wrong  int
	}{
		"right":         {func(*store.LedgerEntry) {}, 0},
		"other version": {func(e *store.LedgerEntry) { e.Version = "2" }, 1},
		"other content": {func(e *store.LedgerEntry) { e.Body = []byte(observation("k2", "y")) }, 1},
		"no place":      {func(e *store.LedgerEntry) { e.ServerID = "nowhere" }, 1},
		"other key":     {func(e *store.LedgerEntry) { e.RoleKey = "k3" }, 1},
		"no content":    {func(e *store.LedgerEntry) { e.Body = nil }, 1},
	} {
		row := right
		c.change(&row)
		var v verdict
		v.checkRow(s, row)
		require.Equal(t, c.wrong, v.Unverified, name)
		require.Equal(t, 1, v.LedgerRows)
	}
}

func TestTheCheckerLooksAtWhatServesManyCases(t *testing.T) {
	t.Parallel()
	s := written(t, "s/1=a", "s/2=b", "k1=c")
	var right []store.LedgerEntry
	for _, key := range []string{"s/1", "s/2"} {
		_, id, _ := strings.Cut(s.places[key][0], "/")
		right = append(right, store.LedgerEntry{RoleKey: key, Type: "Observation", ServerID: id, Version: "1", Body: []byte(s.byPlace[s.places[key][0]])})
	}
	other := slices.Clone(right)
	other[1].Version = "2"
	for name, c := range map[string]struct {
		rows  []store.LedgerEntry
		wrong int
	}{
		"right":         {right, 0},
		"other version": {other, 1},
		"one missing":   {right[:1], 1},
		"none":          {nil, 3}, // both, and that there is none
	} {
		var v verdict
		v.checkShared(s, c.rows)
		require.Equal(t, c.wrong, v.Unverified, name)
		require.Equal(t, len(c.rows), v.SharedRows, name)
		require.Equal(t, c.wrong == 0, v.Good(), name)
	}
	var v verdict
	v.checkShared(written(t, "k1=a"), nil)
	require.False(t, v.Good(), "a run that records nothing shared has proved nothing of it")
}

func TestTheCheckerHoldsDocumentsAgainstTheSenders(t *testing.T) {
	t.Parallel()
	c := sent{documents: []child.Document{{Path: "/histology", Body: []byte(`{"h":1}`)}, {Path: reports, Body: []byte(`{"r":1}`)}, {Path: reports, Body: []byte(`{"r":2}`)}}}
	require.Equal(t, 2, c.states())
	require.Equal(t, c.documents[:2], c.at(1))
	require.Equal(t, c.documents, c.at(2))
	kept := func(kind store.Kind, body string) store.Document {
		return store.Document{Kind: kind, Body: []byte(body)}
	}
	h, r1, r2 := kept(store.Histology, `{"h":1}`), kept(store.Report, `{"r":1}`), kept(store.Report, `{"r":2}`)
	for name, is := range map[string]struct {
		kept []store.Document
		want verdict
	}{
		"right":              {[]store.Document{r2, h, r1}, verdict{}},
		"one missing":        {[]store.Document{r2, h}, verdict{Lost: 1}},
		"one twice":          {[]store.Document{r2, h, r1, r1}, verdict{Doubled: 1}},
		"stored wrongly":     {[]store.Document{r2, h, kept(store.Report, `{"r":3}`)}, verdict{Lost: 1, Doubled: 1}},
		"stored as a report": {[]store.Document{r2, kept(store.Report, `{"h":1}`), r1}, verdict{Lost: 1, Doubled: 1}},
	} {
		var v verdict
		v.hold("c1", "the case", c.documents, is.kept)
		v.Examples = nil
		require.Equal(t, is.want, v, name)
	}
}

// linked is a state of two resources that name each other, as k1 names k2 in a
// list beside another and k2 names k1 alone.
func linked(t *testing.T) expected {
	t.Helper()
	g := state(1, map[string]string{"k1": "a", "k2": "b"})
	for i, links := range []string{`"hasMember":[{"reference":"urn:uuid:k2"},{"reference":"Patient?identifier=s|p"}]`, `"basedOn":[{"reference":"urn:uuid:k1"}]`} {
		r := &g.Resources[i]
		r.Body = json.RawMessage(strings.TrimSuffix(string(r.Body), "}") + `,` + links + `}`)
	}
	e, err := expect([]graph.Graph{g})
	require.NoError(t, err)
	return e
}

func TestTheCheckerKnowsWhatMayBeLeftOutAtFirst(t *testing.T) {
	t.Parallel()
	e := linked(t)
	form := func(key, value, links string) string {
		body := observation(key, value)
		tree, err := decode(json.RawMessage(strings.TrimSuffix(body, "}") + links + `}`))
		require.NoError(t, err)
		return plain(tree, func(ref string) string { return map[string]string{"Observation/1": "k1", "Observation/2": "k2"}[ref] })
	}
	patient := `,"hasMember":[{"reference":"Patient?identifier=s|p"}]`
	for name, c := range map[string]struct {
		key, form string
		stands    map[string]bool
		want      int
	}{
		"what does not stand":     {"k1", form("k1", "a", patient), nil, 1},
		"the only one of a list":  {"k2", form("k2", "b", ""), nil, 1},
		"what stands":             {"k2", form("k2", "b", ""), map[string]bool{"k1": true}, 0},
		"what is not of the case": {"k1", form("k1", "a", ""), nil, 0},
		"one too many":            {"k2", form("k2", "b", `,"basedOn":[{"reference":"Observation/2"}]`), nil, 0},
		"other content":           {"k2", form("k2", "c", ""), nil, 0},
	} {
		require.Equal(t, c.want, e.partialOf(c.key, c.form, 1, c.stands), name)
	}
}
