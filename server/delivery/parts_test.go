package delivery_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
)

// bundles records what each transaction to a bench wrote, as "METHOD Type".
type bundles struct {
	mu   sync.Mutex
	sent [][]string
}

func (x *bundles) watch(t *testing.T, b *bench) {
	b.faults.plan(func(r *http.Request) bool {
		if !transactions(r) {
			return false
		}
		raw, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		r.Body = io.NopCloser(bytes.NewReader(raw))
		var bundle struct {
			Entry []struct {
				Resource struct{ ResourceType string }
				Request  struct{ Method string }
			}
		}
		require.NoError(t, json.Unmarshal(raw, &bundle))
		var entries []string
		for _, e := range bundle.Entry {
			entries = append(entries, e.Request.Method+" "+e.Resource.ResourceType)
		}
		x.mu.Lock()
		defer x.mu.Unlock()
		x.sent = append(x.sent, entries)
		return false
	}, nil)
}

func (x *bundles) taken() [][]string {
	x.mu.Lock()
	defer x.mu.Unlock()
	all := x.sent
	x.sent = nil
	return all
}

// largeCase is circular with many more facts than a transaction may have.
func largeCase(name string, sequence int, status string) graph.Graph {
	g := circular(name, sequence, status)
	more := scene{name: name, sequence: sequence, status: status, more: 40}.graph()
	for _, r := range more.Resources {
		if !slices.ContainsFunc(g.Resources, func(had graph.Resource) bool { return had.Key == r.Key }) {
			g.Resources = slices.Insert(g.Resources, 2, r)
		}
	}
	return g
}

// A case larger than the target's transactions goes in several. None is larger,
// the report is in the last and so are the Provenance and the references that
// had to wait; the practice receiver refuses a reference to nothing, so none was
// left dangling on the way.
func TestALargeCaseGoesInPartsAndItsReportLast(t *testing.T) {
	t.Parallel()
	for _, rung := range []int{delivery.RungClientIDs, delivery.RungConditionalCreate} {
		t.Run(strconv.Itoa(rung), func(t *testing.T) {
			t.Parallel()
			const most = 10
			b := newBench(t)
			var sent bundles
			sent.watch(t, b)
			e := b.engine(t, func(target *delivery.Target) { target.Rung, target.MaxEntries = rung, most })
			g := largeCase("large "+strconv.Itoa(rung), 1, "final")
			require.Greater(t, len(g.Resources), 4*most)
			got, err := e.Deliver(context.Background(), g)
			require.NoError(t, err)
			require.Empty(t, got.Alarms())

			all := sent.taken()
			require.Greater(t, len(all), 4)
			for i, entries := range all {
				require.LessOrEqual(t, len(entries), most)
				for _, entry := range entries {
					final := entry == "POST DiagnosticReport" || entry == "PUT DiagnosticReport" ||
						entry == "POST Provenance" || entry == "PUT Provenance"
					require.Equal(t, final, final && i == len(all)-1, "%s in transaction %d of %d", entry, i+1, len(all))
				}
			}
			require.Contains(t, all[len(all)-1], "PUT Procedure", "the link to the report had to wait for it")
			report := b.Resources("DiagnosticReport")[0]
			require.Equal(t, "DiagnosticReport/"+report["id"].(string),
				b.Resources("Procedure")[0]["report"].([]any)[0].(map[string]any)["reference"])

			again, err := e.Deliver(context.Background(), g)
			require.NoError(t, err)
			require.Equal(t, len(g.Resources), again.Count(delivery.Unchanged))
			require.Empty(t, sent.taken(), "a repetition writes nothing")
		})
	}
}
