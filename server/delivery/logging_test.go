package delivery_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/mapping/graph"
	"enbloc/server/delivery"
	"enbloc/server/fault"
	"enbloc/server/store"
)

// lines is a log that may be read while it is written.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// A mistake of ours is told with its cause, without what a cause may quote; the
// queue's own figures are not told at all.
func TestOurMistakesAreLoggedWithTheirCause(t *testing.T) {
	t.Parallel()
	_, quoting := strconv.Atoi("HTEST-P-0101")
	var wrong *json.UnmarshalTypeError
	require.ErrorAs(t, json.Unmarshal([]byte(`{"a":1.50}`), &struct{ A int }{}), &wrong)
	for name, c := range map[string]struct {
		cause     error
		want, not string
	}{
		"a fault":       {fault.Wrap("reading state", fault.Internal, errors.New("no such table")), "reading state: no such table", "*fault"},
		"our own words": {fmt.Errorf("checking graph: %w", errors.New("case key is required")), "checking graph: case key is required", "*fmt"},
		"a quotation":   {fmt.Errorf("reading number: %w", quoting), "*strconv.NumError", "HTEST-P-0101"},
		"a number":      {wrong, "*json.UnmarshalTypeError", "1.50"},
		"unmappable":    {&fault.Error{Op: "mapping case", Kind: fault.Invalid, Cause: errors.New("no organ")}, "mapping case: no organ", "*fault"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var log lines
			p := newPlant(t, "", func(o *delivery.Options) {
				o.Render = func(context.Context, string, int) (graph.Graph, error) { return graph.Graph{}, c.cause }
				o.Logger = slog.New(slog.NewTextHandler(&log, nil))
			})
			s := states("one", 1)[0]
			p.accept(s)
			p.start()
			want := store.Retrying
			if fault.Is(c.cause, fault.Invalid) {
				want = store.Dead
			}
			require.Eventually(t, func() bool { d := p.rows(s.caseKey())[1]; return d.State == want && d.Reason != "" }, time.Minute, 5*time.Millisecond)
			require.Contains(t, log.String(), c.want)
			require.NotContains(t, log.String(), c.not)
			require.NotContains(t, log.String(), "river", "the queue speaks of warnings only")
		})
	}
}
