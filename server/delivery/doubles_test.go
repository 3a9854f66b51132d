package delivery_test

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
)

// standingBody is what the target holds of a role.
func (b *bench) standingBody(t testing.TB, g graph.Graph, role string) map[string]any {
	t.Helper()
	for _, r := range g.Resources {
		if r.Role == role {
			return b.byKey(t)[r.Key]
		}
	}
	require.Fail(t, "the case has no "+role)
	return nil
}

// double stores a copy of what stands in a role, as a late write or a second
// sender would, changed or not.
func (b *bench) double(t testing.TB, body map[string]any, change func(map[string]any)) {
	t.Helper()
	copied := map[string]any{}
	raw, err := json.Marshal(body)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &copied))
	delete(copied, "id")
	if change != nil {
		change(copied)
	}
	raw, err = json.Marshal(copied)
	require.NoError(t, err)
	require.Equal(t, http.StatusCreated, b.post(t, copied["resourceType"].(string), string(raw)))
}

// statuses are those of all resources of a type.
func (b *bench) statuses(kind string) []string {
	var all []string
	for _, r := range b.Resources(kind) {
		all = append(all, r["status"].(string))
	}
	return all
}

// A copy that no report names is marked as entered in error and left where it is;
// the one that a report names stands. The report may name it by way of another.
func TestACopyThatTheReportDoesNotNameIsMarked(t *testing.T) {
	t.Parallel()
	for role, kind := range map[string]string{"lesion/1/size": "Observation", "resection/1": "Procedure"} {
		t.Run(role, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			g := scene{name: "copy", sequence: 1}.graph()
			_, err := b.engine(t).Deliver(context.Background(), g)
			require.NoError(t, err)
			b.double(t, b.standingBody(t, g, role), nil)
			before := len(b.Resources(kind))

			result, err := delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
			require.NoError(t, err)
			require.Len(t, result.Doubles, 1)
			require.Equal(t, role, result.Doubles[0].Role)
			require.Equal(t, delivery.Voided, result.Doubles[0].Effect)
			require.Len(t, b.Resources(kind), before, "nothing is deleted")
			states := b.statuses(kind)
			require.Equal(t, "entered-in-error", states[len(states)-1], "the copy came last")
			require.NotContains(t, states[:len(states)-1], "entered-in-error")

			wrote := b.writes()
			again, err := delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
			require.NoError(t, err)
			require.Empty(t, again.Doubles, "it is no double any more")
			require.Equal(t, wrote, b.writes())
		})
	}
}

// On the rung where a race can double, the copy is found after the write.
func TestACopyMadeByARaceIsMarked(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	c := lowerRungs["3 conditional update"]
	b.Shape(c.shape)
	g := scene{name: "raced", sequence: 1}.graph()
	b.rival(func(r *http.Request) bool {
		return transactions(r) && len(b.Resources("Device")) > 0 // the first one brings what cases share
	}, c.shape, func() { b.double(t, b.standingBody(t, g, "lesion/1/size"), nil) })
	result, err := b.engine(t, c.target).Deliver(context.Background(), g)
	require.NoError(t, err)
	require.Len(t, result.Doubles, 1)
	require.Equal(t, []string{"final", "entered-in-error"}, b.statuses("Observation"))
}

// What an earlier attempt sent may be committed after the target was searched, at
// the same moment as what this one sends: the copy is found after the write.
func TestACopyCommittedLateIsMarked(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	g := scene{name: "late", sequence: 1}.graph()
	b.faults.plan(func(r *http.Request) bool {
		return transactions(r) && len(b.Resources("Device")) > 0 // the first one brings what cases share
	}, func(next http.Handler, w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(w, r)
		b.double(t, b.standingBody(t, g, "lesion/1/size"), nil)
	})
	result, err := delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
	require.NoError(t, err)
	require.Len(t, result.Doubles, 1)
	require.Equal(t, []string{"final", "entered-in-error"}, b.statuses("Observation"))
}

// What cannot be decided without guessing stops the case, and nothing is written.
func TestADoubleThatNothingDecidesStopsTheCase(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		role   string
		change func(map[string]any)
	}{
		"the copy says something else":    {"lesion/1/size", func(r map[string]any) { r["valueQuantity"].(map[string]any)["value"] = 99 }},
		"the copy says less":              {"lesion/1/size", func(r map[string]any) { delete(r, "valueQuantity"); r["valueString"] = "none" }},
		"no report names either":          {"histology/1/type", nil},
		"the report itself is doubled":    {"report/endoscopy", nil},
		"a record of authorship is never": {"provenance/report", nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			g := scene{name: "undecided", sequence: 1, histology: true}.graph()
			_, err := b.engine(t).Deliver(context.Background(), g)
			require.NoError(t, err)
			b.double(t, b.standingBody(t, g, c.role), c.change)
			wrote := b.writes()
			result, err := delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
			f := requireReason(t, err, delivery.Doubled)
			require.Equal(t, c.role, f.Conflicts[0].Role)
			require.Empty(t, result.Doubles)
			require.Equal(t, wrote, b.writes())
		})
	}
}

// A copy that somebody touches at the same moment is looked at again.
func TestACopyThatMovesIsLookedAtAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	g := scene{name: "moving", sequence: 1}.graph()
	_, err := b.engine(t).Deliver(context.Background(), g)
	require.NoError(t, err)
	b.double(t, b.standingBody(t, g, "lesion/1/size"), nil)
	b.faults.plan(func(r *http.Request) bool {
		return r.Method == http.MethodPut && strings.Contains(r.URL.Path, "/Observation/")
	}, status(http.StatusPreconditionFailed))
	_, err = delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
	f := requireReason(t, err, delivery.LostRace)
	require.True(t, f.Uncertain, "the next attempt reads first")
	result, err := delivery.DeliverInDoubt(b.engine(t), context.Background(), g)
	require.NoError(t, err)
	require.Len(t, result.Doubles, 1)
}
