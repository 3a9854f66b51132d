package delivery_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
)

// outcomeOf is an OperationOutcome as known servers give it, without a place.
func outcomeOf(severity string) string {
	return `{"resourceType":"OperationOutcome","issue":[{"severity":"` + severity + `","code":"processing","diagnostics":"no place is named"}]}`
}

func answer(code int, body string) func(http.Handler, http.ResponseWriter, *http.Request) {
	return func(_ http.Handler, w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/fhir+json")
		w.WriteHeader(code)
		_, _ = io.WriteString(w, body)
	}
}

// A target that refuses a transaction and names no part of it is asked about each
// part alone; what it is asked stores nothing, and what it answers about all alike
// (it does not know the operation, or our profiles) says nothing.
func TestThePartThatARefusalDoesNotNameIsLocated(t *testing.T) {
	t.Parallel()
	bad := func(r *http.Request) bool { return strings.Contains(r.URL.Path, "/Observation/") }
	for name, c := range map[string]struct {
		code    int // of the refusal
		bad     func(http.Handler, http.ResponseWriter, *http.Request)
		others  func(http.Handler, http.ResponseWriter, *http.Request)
		located bool
		asked   int
	}{
		"refused alone":            {422, answer(400, outcomeOf("error")), answer(200, outcomeOf("information")), true, 4},
		"after a 400":              {400, answer(400, outcomeOf("error")), answer(200, outcomeOf("information")), true, 4},
		"complained of":            {422, answer(200, outcomeOf("error")), answer(200, outcomeOf("warning")), true, 4},
		"refused among complaints": {422, answer(422, outcomeOf("error")), answer(200, outcomeOf("error")), true, 4},
		"all complained of":        {422, answer(200, outcomeOf("error")), answer(200, outcomeOf("error")), false, 4},
		"all refused":              {422, answer(400, outcomeOf("error")), answer(400, outcomeOf("error")), false, 4},
		"not an operation here":    {422, answer(404, outcomeOf("error")), answer(404, outcomeOf("error")), false, 1},
		"no outcome":               {422, answer(200, `{}`), answer(200, `{}`), false, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			asked := 0
			b.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				switch {
				case transactions(r):
					body, err := io.ReadAll(r.Body)
					if err != nil {
						t.Error(err)
					}
					r.Body = io.NopCloser(bytes.NewReader(body))
					if bytes.Contains(body, []byte(`"DiagnosticReport"`)) { // the case, and not what cases share
						answer(c.code, outcomeOf("error"))(nil, w, r)
						return
					}
				case strings.HasSuffix(r.URL.Path, "/$validate"):
					asked++
					if bad(r) {
						c.bad(nil, w, r)
					} else {
						c.others(nil, w, r)
					}
					return
				}
				b.Receiver.ServeHTTP(w, r)
			})
			g := scene{name: "unnamed", sequence: 1}.graph()
			for i := range g.Resources {
				g.Resources[i].Pointers = []string{"/" + g.Resources[i].Role}
			}
			_, err := b.engine(t).Deliver(context.Background(), g)
			f := requireReason(t, err, delivery.Refused)
			require.Equal(t, c.asked, asked)
			require.Equal(t, c.located, f.Problems[0].Located)
			if c.located {
				require.Equal(t, "lesion/1/size", f.Problems[0].Role)
				require.Equal(t, []string{"/lesion/1/size"}, f.Problems[0].Report, "in the terms of the report")
			} else {
				require.Empty(t, f.Problems[0].Role)
			}
			require.Equal(t, 1, b.writes(), "nothing of the case is there")
		})
	}
}
