package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/practice"
	"enbloc/server/store"
)

// observation is a resource of the case "c1" with a value.
func observation(key, value string) string {
	return `{"resourceType":"Observation","status":"final","code":{"text":"HTEST"},"valueString":"` + value + `",` +
		`"identifier":[{"system":"` + graph.RoleKeySystem + `","value":"` + key + `"}],` +
		`"meta":{"tag":[{"system":"` + graph.CaseKeySystem + `","code":"c1"}]}}`
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

// written is a receiver that was written as the lines say: "k1=a" creates or
// updates the resource under k1, "+k1=a" creates one more.
func written(t *testing.T, lines ...string) surveyed {
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
	s, err := survey(r.Journal())
	require.NoError(t, err)
	return s
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
		"written twice equal": {[]string{"k1=a", "k1=b", "k2=x", "k1=c", "k1=c"}, verdict{}},
		"never came":          {[]string{"k1=a", "k1=b", "k1=c"}, verdict{Lost: 1}},
		"the last is missing": {[]string{"k1=a", "k1=b", "k2=x"}, verdict{Lost: 1}},
		"gone back":           {[]string{"k1=a", "k1=b", "k2=x", "k1=c", "k1=b", "k1=c"}, verdict{Disordered: 1}},
		"foreign content":     {[]string{"k1=a", "k1=z", "k2=x", "k1=c"}, verdict{Foreign: 1}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := written(t, c.journal...)
			var v verdict
			v.checkStanding(s, "c1", expected)
			v.checkOrder(s, "c1", expected)
			require.Equal(t, [3]int{c.want.Lost, c.want.Disordered, c.want.Foreign}, [3]int{v.Lost, v.Disordered, v.Foreign}, v.Examples)
			require.Equal(t, c.want.Lost+c.want.Disordered+c.want.Foreign == 0, v.Good())
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
