package delivery_test

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/target/fhirserver"
)

// turnstile gives tokens of which each is good for a few requests only.
type turnstile struct {
	mu     sync.Mutex
	number int
	left   int
	down   int // so often the authorisation server gives none
}

func (x *turnstile) token() string { return fmt.Sprintf("at-%d", x.number) }

func (x *turnstile) Token(context.Context) (string, error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.down > 0 {
		x.down--
		return "", &fhirserver.SignInError{Refused: x.down%2 == 0, Cause: fmt.Errorf("out of order")}
	}
	return x.token(), nil
}

func (x *turnstile) Refused(token string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if token == x.token() {
		x.number, x.left = x.number+1, 7
	}
}

func (x *turnstile) Grant() fhirserver.Grant { return fhirserver.Grant{} }

func (x *turnstile) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x.mu.Lock()
		good := x.left > 0 && r.Header.Get("Authorization") == "Bearer "+x.token()
		if good {
			x.left--
		}
		x.mu.Unlock()
		if !good {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// TestTokensThatEndAtAnyMomentDelayNothing: every eighth request meets a token
// that has ended, and for a while there is none; all arrives, once, in order.
func TestTokensThatEndAtAnyMomentDelayNothing(t *testing.T) {
	t.Parallel()
	x := &turnstile{down: 3}
	b := newBench(t)
	b.faults.next = x.guard(b.Receiver)
	p := plantAt(t, b, "", func(o *delivery.Options) {
		client, err := fhirserver.New(fhirserver.Config{BaseURL: b.url, Tokens: x})
		require.NoError(t, err)
		o.Targets[0].Client = client
		o.Workers = 2
	})
	var names []string
	for n := range 8 {
		names = append(names, fmt.Sprintf("token-%d", n))
		p.accept(states(names[n], n+1)...)
	}
	p.start()
	p.settled()
	p.requireWhole(names...)
	p.requireDelivered(names...)
	require.Greater(t, x.number, 8)
	require.Zero(t, x.down)
}
