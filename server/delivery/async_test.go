package delivery_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/delivery"
	"enbloc/server/practice"
	"enbloc/server/store"
	"enbloc/server/target/fhirserver"
)

// later is a plant whose receiver does its writes later. Between the two stands
// spoil, which is given each answer to a write and each to a question for an
// outcome, and may change it.
func later(t *testing.T, after time.Duration, spoil func(r *http.Request, answer *httptest.ResponseRecorder)) (p *plant, transactionsSent *atomic.Int32) {
	t.Helper()
	b := newBench(t)
	b.Shape(practice.Shape{Later: after, NoClientIDs: true})
	transactionsSent = &atomic.Int32{}
	receiver := b.faults.next
	b.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if transactions(r) {
			transactionsSent.Add(1)
		}
		answer := httptest.NewRecorder()
		receiver.ServeHTTP(answer, r)
		if spoil != nil && (transactions(r) || asks(r)) {
			spoil(r, answer)
		}
		for k, v := range answer.Header() {
			w.Header()[k] = v
		}
		w.WriteHeader(answer.Code)
		_, _ = w.Write(answer.Body.Bytes())
	})
	p = plantAt(t, b, "", func(o *delivery.Options) {
		// Short, so that what never comes is soon given up.
		client, err := fhirserver.New(fhirserver.Config{BaseURL: b.url, Timeout: time.Second, Bearer: "HTEST"})
		require.NoError(t, err)
		o.Targets[0].Client = client
	})
	return p, transactionsSent
}

func asks(r *http.Request) bool { return strings.Contains(r.URL.Path, "/$outcome/") }

// twoWritten are what a case is sent in when nothing goes wrong: what cases
// share, then the case.
const twoWritten = 2

// requireOnce makes sure that each resource was written once.
func (p *plant) requireOnce() {
	p.t.Helper()
	require.Len(p.t, p.byKey(p.t), 5)
	for _, w := range p.Journal() {
		require.Equal(p.t, 1, w.Version, "%s was written again", w.Type)
	}
}

// A target that does its writes later (https://hl7.org/fhir/R4/async.html) is
// asked for the outcome, and the first attempt delivers; so does a later state.
func TestWhatIsAcceptedForLaterIsDeliveredOnce(t *testing.T) {
	t.Parallel()
	p, sent := later(t, 50*time.Millisecond, nil)
	s := scene{name: "later", sequence: 1}
	p.accept(s)
	p.start()
	require.Equal(t, 1, p.until(s, store.Delivered).Attempts)
	require.Equal(t, int32(twoWritten), sent.Load())
	p.requireOnce()

	s.sequence, s.size = 2, "23.50"
	p.accept(s)
	require.Equal(t, 1, p.until(s, store.Delivered).Attempts)
	require.Equal(t, int32(twoWritten+1), sent.Load())
}

// Single requests are accepted for later too.
func TestSingleWritesAreAcceptedForLater(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.Shape(practice.Shape{Later: 20 * time.Millisecond, NoTransaction: true, NoClientIDs: true})
	engine := b.engine(t, func(t *delivery.Target) { t.Rung = delivery.RungSingle })
	g := scene{name: "singly", sequence: 1}.graph()
	result, err := engine.Deliver(t.Context(), g)
	require.NoError(t, err)
	require.Equal(t, len(g.Resources), result.Count(delivery.Created), "the outcome says that each was created, so none has to be looked for")
	written := len(b.Journal())
	_, err = engine.Deliver(t.Context(), g)
	require.NoError(t, err)
	require.Len(t, b.Journal(), written)
}

// A refusal that is told later is a refusal, by part of the case.
func TestARefusalThatIsToldLater(t *testing.T) {
	t.Parallel()
	p, _ := later(t, 20*time.Millisecond, nil)
	s := scene{name: "refused later", sequence: 1, status: "htest-no-such-status"}
	p.accept(s)
	p.start()
	d := p.until(s, store.Dead)
	require.Equal(t, string(delivery.Refused), d.Reason)
	require.Contains(t, d.Explanation, "report/endoscopy: DiagnosticReport.status")
	require.False(t, d.Uncertain)
}

// Whatever goes wrong with the asking, the write may have been done: the target
// is read before anything is sent again, so that nothing is sent twice.
func TestAnOutcomeThatIsNotToldIsRead(t *testing.T) {
	t.Parallel()
	var strange atomic.Int32
	stranger := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { strange.Add(1) }))
	t.Cleanup(stranger.Close)
	for name, spoil := range map[string]func(r *http.Request, answer *httptest.ResponseRecorder){
		"asking fails": func(r *http.Request, answer *httptest.ResponseRecorder) {
			if asks(r) {
				answer.Code = http.StatusInternalServerError
				answer.Body.Reset()
			}
		},
		"it is never told": func(r *http.Request, answer *httptest.ResponseRecorder) {
			if asks(r) {
				answer.Code = http.StatusAccepted
				answer.Body.Reset()
			}
		},
		"the place is elsewhere": func(r *http.Request, answer *httptest.ResponseRecorder) {
			if !asks(r) {
				answer.Header().Set("Content-Location", stranger.URL+"/fhir/$outcome/1")
			}
		},
		"there is no place": func(r *http.Request, answer *httptest.ResponseRecorder) {
			if !asks(r) {
				answer.Header().Del("Content-Location")
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, sent := later(t, 20*time.Millisecond, spoil)
			s := scene{name: "unknown " + name, sequence: 1}
			p.accept(s)
			p.start()
			d := p.until(s, store.Delivered)
			require.Greater(t, d.Attempts, 1)
			attempts, err := p.store.Attempts(t.Context(), d.ID)
			require.NoError(t, err)
			require.Equal(t, "unknown", attempts[0].Class)
			require.Equal(t, http.StatusAccepted, attempts[0].HTTPStatus)
			require.Equal(t, int32(twoWritten), sent.Load(), "what stands was found, not sent again")
			p.requireOnce()
		})
	}
	t.Cleanup(func() { require.Zero(t, strange.Load(), "credentials go to the target only") })
}

// A target that takes longer than the attempt has, and does the write only when
// it was sent again, still holds each resource once: the conditions of both hold.
func TestALateWriteAfterARepetitionIsNotDoubled(t *testing.T) {
	t.Parallel()
	p, sent := later(t, 0, nil)
	inOrder := p.faults.next
	var put *http.Request // off: the case, when it was sent first
	p.faults.next = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case asks(r):
			w.WriteHeader(http.StatusAccepted)
		case transactions(r) && put == nil && sent.Load() == twoWritten-1:
			body, err := io.ReadAll(r.Body)
			if err != nil {
				t.Error(err)
			}
			put = r.Clone(context.WithoutCancel(r.Context()))
			put.Body = io.NopCloser(bytes.NewReader(body))
			w.Header().Set("Content-Location", "/fhir/$outcome/1")
			w.WriteHeader(http.StatusAccepted)
		case transactions(r) && put != nil && sent.Load() == twoWritten-1:
			inOrder.ServeHTTP(httptest.NewRecorder(), put)
			inOrder.ServeHTTP(w, r)
		default:
			inOrder.ServeHTTP(w, r)
		}
	})
	s := scene{name: "very late", sequence: 1}
	p.accept(s)
	p.start()
	p.until(s, store.Delivered)
	require.Equal(t, int32(twoWritten+1), sent.Load(), "the late write and its repetition came to the target")
	p.requireOnce()
}

// A process that ends while it asks leaves a row in doubt, and the next begins
// with reading.
func TestAStopWhileAskingLeavesADoubt(t *testing.T) {
	t.Parallel()
	asked, once := make(chan struct{}), atomic.Bool{}
	p, sent := later(t, 20*time.Millisecond, func(r *http.Request, answer *httptest.ResponseRecorder) {
		if asks(r) && once.CompareAndSwap(false, true) {
			close(asked)
			<-r.Context().Done() // the process is gone
		}
	})
	s := scene{name: "stopped", sequence: 1}
	p.accept(s)
	p.start()
	<-asked
	p.close()
	p.open()
	p.start()
	p.until(s, store.Delivered)
	require.Equal(t, int32(twoWritten), sent.Load())
	p.requireOnce()
}
