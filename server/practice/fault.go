package practice

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// FaultKind is one way in which an answer goes wrong.
type FaultKind string

// The kinds. Those named by a status answer it and do nothing else.
const (
	Fault401 FaultKind = "401"
	Fault409 FaultKind = "409"
	Fault412 FaultKind = "412"
	// Fault429 asks for patience, in seconds or by a date.
	Fault429 FaultKind = "429"
	Fault500 FaultKind = "500"
	// FaultSlow answers rightly, but late.
	FaultSlow FaultKind = "slow"
	// FaultResetBefore breaks the connection before anything is done.
	FaultResetBefore FaultKind = "reset-before"
	// FaultResetAfter does what was asked, then breaks the connection.
	FaultResetAfter FaultKind = "reset-after"
	// FaultHalfAnswer does what was asked and breaks off in its answer.
	FaultHalfAnswer FaultKind = "half-answer"
	// FaultWrongType does what was asked and answers 200 with a page of HTML, as
	// a proxy in between may.
	FaultWrongType FaultKind = "wrong-type"
	// FaultLate breaks the connection and does what was asked some time after: a
	// gateway with a queue, or a busy server, carries on with what its sender has
	// given up.
	FaultLate FaultKind = "late"
)

// FaultKinds lists all of them.
func FaultKinds() []FaultKind {
	return []FaultKind{Fault401, Fault409, Fault412, Fault429, Fault500, FaultSlow, FaultResetBefore, FaultResetAfter, FaultHalfAnswer, FaultWrongType, FaultLate}
}

// Faults says how often answers go wrong. The same seed draws the same row of
// faults; which request meets which depends on the order in which they come.
type Faults struct {
	Seed uint64
	// Chance is the share of answers, 0 to 1, of each kind; together at most 1.
	Chance map[FaultKind]float64
	// Delay is how late a slow answer comes; 0 means 2 s.
	Delay time.Duration
	// Late is until when at most what FaultLate put off is done; 0 means 10 s, over
	// which a sender tries several times.
	Late time.Duration
}

// EvenFaults spreads one share, 0 to 1, evenly over all kinds but some.
func EvenFaults(seed uint64, share float64, but ...FaultKind) Faults {
	kinds := slices.DeleteFunc(FaultKinds(), func(k FaultKind) bool { return slices.Contains(but, k) })
	f := Faults{Seed: seed, Chance: map[FaultKind]float64{}}
	for _, k := range kinds {
		f.Chance[k] = share / float64(len(kinds))
	}
	return f
}

const (
	defaultDelay = 2 * time.Second
	defaultLate  = 10 * time.Second
)

// faulty draws faults; nil draws none. It is safe for concurrent use.
type faulty struct {
	mu     sync.Mutex
	dice   *rand.Rand
	chance map[FaultKind]float64
	delay  time.Duration
	late   time.Duration
	drawn  map[FaultKind]int
}

// Spoiler stands in front of a server and lets some of its answers go wrong. It is
// safe for concurrent use.
type Spoiler struct {
	next   http.Handler
	mu     sync.Mutex
	faults *faulty
	putOff int        // what was put off and is not done yet
	done   *sync.Cond // on mu: told when something of it is
}

// NewSpoiler returns one that hands everything on until Faults is called.
func NewSpoiler(next http.Handler) *Spoiler {
	s := &Spoiler{next: next}
	s.done = sync.NewCond(&s.mu)
	return s
}

// ServeHTTP implements http.Handler.
func (s *Spoiler) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	if f := s.present(); f != nil {
		if kind := f.draw(); kind != "" {
			s.spoil(f, kind, w, req)
			return
		}
	}
	s.next.ServeHTTP(w, req)
}

// Faults sets what goes wrong from now on; the zero Faults ends it. It is an
// error when a kind is unknown or the shares are no shares.
func (s *Spoiler) Faults(f Faults) error {
	total := 0.0
	for kind, share := range f.Chance {
		if !slices.Contains(FaultKinds(), kind) {
			return fmt.Errorf("setting faults: there is no fault %q", kind)
		}
		if !(share >= 0 && share <= 1) {
			return fmt.Errorf("setting faults: the share of %s is not between 0 and 1", kind)
		}
		total += share
	}
	if total > 1+1e-9 {
		return fmt.Errorf("setting faults: the shares add up to %.3g, more than 1", total)
	}
	if f.Delay <= 0 {
		f.Delay = defaultDelay
	}
	if f.Late <= 0 {
		f.Late = defaultLate
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.faults = &faulty{dice: rand.New(rand.NewPCG(f.Seed, 0x70726163)), //nolint:gosec // to be repeated, not to be secret
		chance: f.Chance, delay: f.Delay, late: f.Late, drawn: map[FaultKind]int{}}
	return nil
}

// FaultsDrawn is how often each kind of fault has been answered so far.
func (s *Spoiler) FaultsDrawn() map[FaultKind]int {
	f := s.present()
	all := map[FaultKind]int{}
	if f == nil {
		return all
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for k, n := range f.drawn {
		all[k] = n
	}
	return all
}

func (s *Spoiler) present() *faulty {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.faults
}

// draw is the fault of the next answer; empty for none.
func (f *faulty) draw() FaultKind {
	f.mu.Lock()
	defer f.mu.Unlock()
	at := f.dice.Float64()
	for _, k := range FaultKinds() {
		if at < f.chance[k] {
			f.drawn[k]++
			return k
		}
		at -= f.chance[k]
	}
	return ""
}

// coin is true in half of the cases.
func (f *faulty) coin() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.dice.IntN(2) == 0
}

// lateness is how long something is put off.
func (f *faulty) lateness() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return time.Duration(f.dice.Int64N(int64(f.late)))
}

// spoil answers one request with a fault.
func (s *Spoiler) spoil(f *faulty, kind FaultKind, w http.ResponseWriter, req *http.Request) {
	w.Header().Set(Header, Notice+"; fault on purpose: "+string(kind))
	switch kind {
	case FaultSlow:
		late := time.NewTimer(f.delay)
		defer late.Stop()
		select {
		case <-late.C:
			s.next.ServeHTTP(w, req)
		case <-req.Context().Done():
		}
	case FaultResetBefore:
		_, _ = readAll(w, req) // the sender has sent everything
		reset(w)
	case FaultResetAfter:
		s.next.ServeHTTP(&held{header: http.Header{}}, req)
		reset(w)
	case FaultLate:
		s.later(f.lateness(), w, req)
		reset(w)
	case FaultHalfAnswer:
		s.half(w, req)
	case FaultWrongType:
		s.next.ServeHTTP(&held{header: http.Header{}}, req)
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte("<!DOCTYPE html><title>PRACTICE</title><p>" + Notice + "; fault on purpose: a page instead of an answer</p>\n"))
	default:
		f.refuse(w, kind)
	}
}

// later does what was asked after a while, for nobody who listens.
func (s *Spoiler) later(wait time.Duration, w http.ResponseWriter, req *http.Request) {
	again, err := detached(w, req)
	if err != nil {
		return // the sender broke off first
	}
	s.count(1)
	go func() {
		defer s.count(-1)
		time.Sleep(wait)
		defer func() {
			if r := recover(); r != nil && r != http.ErrAbortHandler { //nolint:errorlint // the value itself is panicked with
				panic(r)
			}
		}()
		s.next.ServeHTTP(&held{header: http.Header{}}, again)
	}()
}

func (s *Spoiler) count(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.putOff += n
	s.done.Broadcast()
}

// Settle waits until nothing is put off any more.
func (s *Spoiler) Settle() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for s.putOff > 0 {
		s.done.Wait()
	}
}

// held is an answer that is not sent as it is.
type held struct {
	header http.Header
	status int
	body   bytes.Buffer
}

// Header implements http.ResponseWriter.
func (h *held) Header() http.Header { return h.header }

// WriteHeader implements http.ResponseWriter.
func (h *held) WriteHeader(status int) { h.status = status }

// Write implements http.ResponseWriter.
func (h *held) Write(p []byte) (int, error) { return h.body.Write(p) }

// half sends the first half of the right answer, with the length of the whole.
func (s *Spoiler) half(w http.ResponseWriter, req *http.Request) {
	whole := &held{header: http.Header{}}
	s.next.ServeHTTP(whole, req)
	for k, values := range whole.header {
		if k != Header {
			w.Header()[k] = values
		}
	}
	body := whole.body.Bytes()
	w.Header().Set("Content-Length", strconv.Itoa(len(body)+1)) // one more, so that an empty one is cut too
	w.WriteHeader(max(whole.status, http.StatusOK))
	_, _ = w.Write(body[:len(body)/2])
	_ = http.NewResponseController(w).Flush() // a writer that cannot has nobody to send to
	panic(http.ErrAbortHandler)               // how net/http is told to break a connection
}

// refuse answers a status.
func (f *faulty) refuse(w http.ResponseWriter, kind FaultKind) {
	codes := map[FaultKind]string{Fault401: "login", Fault409: "conflict", Fault412: "conflict", Fault429: "throttled", Fault500: "exception"}
	status, err := strconv.Atoi(string(kind))
	if err != nil {
		panic("practice: fault without a status: " + string(kind)) // Faults has checked the kinds
	}
	switch kind {
	case Fault401:
		w.Header().Set("WWW-Authenticate", `Bearer realm="practice"`)
	case Fault429:
		wait := "1"
		if f.coin() { // RFC 9110, 10.2.3: seconds or a date
			wait = time.Now().Add(time.Second).UTC().Format(http.TimeFormat)
		}
		w.Header().Set("Retry-After", wait)
	}
	answerError(w, &refusal{status: status, code: codes[kind], text: "PRACTICE: fault on purpose"})
}

// reset breaks the connection without an answer.
func reset(w http.ResponseWriter) {
	if h, ok := w.(http.Hijacker); ok {
		if c, _, err := h.Hijack(); err == nil {
			if tcp, ok := c.(*net.TCPConn); ok {
				_ = tcp.SetLinger(0) // RST and not FIN
			}
			_ = c.Close()
			return
		}
	}
	panic(http.ErrAbortHandler)
}

// Faults lets answers of the receiver go wrong from now on; see [Spoiler.Faults].
func (r *Receiver) Faults(f Faults) error { return r.spoiler.Faults(f) }

// Settle waits for what was put off; see [Spoiler.Settle].
func (r *Receiver) Settle() { r.spoiler.Settle() }

// FaultsDrawn is how often each kind of fault has been answered so far.
func (r *Receiver) FaultsDrawn() map[FaultKind]int { return r.spoiler.FaultsDrawn() }

// ParseFault reads kind=share, such as 500=0.05.
func ParseFault(text string) (FaultKind, float64, error) {
	kind, share, ok := strings.Cut(text, "=")
	chance, err := strconv.ParseFloat(share, 64)
	if !ok || err != nil || !slices.Contains(FaultKinds(), FaultKind(kind)) || !(chance >= 0 && chance <= 1) {
		return "", 0, fmt.Errorf("%q is not KIND=SHARE with a share from 0 to 1, such as 500=0.05", text)
	}
	return FaultKind(kind), chance, nil
}
