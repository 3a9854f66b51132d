package delivery

import (
	"sync"
	"time"

	"enbloc/server/store"
	"enbloc/server/target"
)

// CircuitState says whether a target is being called.
type CircuitState string

// The states of a circuit.
const (
	// CircuitClosed: calls go out.
	CircuitClosed CircuitState = "closed"
	// CircuitHalfOpen: one call goes out, to see whether the target is back.
	CircuitHalfOpen CircuitState = "half-open"
	// CircuitIsOpen: no call goes out until the rest is over.
	CircuitIsOpen CircuitState = "open"
)

// CircuitStates lists all of them.
func CircuitStates() []CircuitState {
	return []CircuitState{CircuitClosed, CircuitHalfOpen, CircuitIsOpen}
}

const (
	// opensAfter failures in a row that are about the target and not the case.
	// With fewer, a restart of the target would open it.
	opensAfter = 5
	firstRest  = 30 * time.Second
	// longestRest bounds how late a target that is back is noticed. Credentials
	// that are refused again and again can lock an account, so it grows.
	longestRest = 5 * time.Minute
	// heldFrom is the patience asked for from which all attempts wait and not only
	// the one that was told. What is shorter is over by the time that the halved
	// bound has let the next few through.
	heldFrom = 5 * time.Second
)

// circuit keeps a target that refuses everybody from being asked by every case:
// a wrong password must not be tried a thousand times, and a thousand rows must
// not use up their attempts on a server that is down, or that asks for peace. It
// is safe for concurrent use.
type circuit struct {
	mu       sync.Mutex
	failures int
	rest     time.Duration
	until    time.Time
	held     time.Time // the target asked to be left alone until then
	probing  bool
	longest  time.Duration // of a rest; 0 means longestRest
}

// pass is what an attempt goes out with.
type pass struct{ probe bool }

// admit gives a pass to an attempt that may go out now; else it says why not and
// how long to wait.
func (c *circuit) admit(now time.Time) (p pass, why Reason, wait time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case now.Before(c.held):
		return p, AskedToWait, c.held.Sub(now)
	case c.failures < opensAfter:
		return p, "", 0
	case now.Before(c.until):
		return p, CircuitOpen, c.until.Sub(now)
	case c.probing:
		return p, CircuitOpen, time.Second
	}
	c.probing = true
	return pass{probe: true}, "", 0
}

// drop gives back the pass of an attempt that says nothing about the target.
func (c *circuit) drop(p pass) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.probing = c.probing && !p.probe
}

// settle takes note of how an attempt ended. It returns true when the circuit
// has just opened, or has just closed again.
func (c *circuit) settle(p pass, f *Failure, now time.Time) (changed bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	was := c.failures >= opensAfter
	c.probing = c.probing && !p.probe
	if overloaded(f) && f.After >= heldFrom {
		if until := now.Add(min(f.After, store.LongestWait)); until.After(c.held) {
			c.held = until
		}
	}
	switch {
	case !ofTarget(f):
		c.failures, c.rest = 0, 0
		return was
	case was && !p.probe:
		return false // it was under way when the circuit opened: one rest is enough for all of them
	}
	c.failures++
	if c.failures < opensAfter {
		return false
	}
	longest := longestRest
	if c.longest > 0 {
		longest = min(longest, c.longest)
	}
	c.rest = min(max(2*c.rest, firstRest), longest)
	c.until = now.Add(c.rest)
	return !was
}

func (c *circuit) state(now time.Time) CircuitState {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case now.Before(c.held):
		return CircuitIsOpen
	case c.failures < opensAfter:
		return CircuitClosed
	case now.Before(c.until):
		return CircuitIsOpen
	}
	return CircuitHalfOpen
}

// ends is when a call goes out again.
func (c *circuit) ends() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.failures < opensAfter || c.until.Before(c.held) {
		return c.held
	}
	return c.until
}

// alive reports whether an attempt that failed has got something written before:
// then the target lets us in and is there, whatever broke off later.
func alive(r Result) bool {
	return r.Count(Created)+r.Count(Updated)+r.Count(Voided) > 0
}

// ofTarget reports whether a failure would meet every other case as well: the
// target does not let us in, or there is no connection. An answer, whatever it
// says about the case, shows that the target is there.
func ofTarget(f *Failure) bool {
	return f != nil && (f.Class == target.Auth || (f.Reason == NoAnswer && f.Status == 0) || f.Reason == FolderNotWritable)
}

// TargetState is how a target is written and whether it is being called.
type TargetState struct {
	Name    string
	Rung    Rung
	Serves  Audience
	Circuit CircuitState
	// Until is when a call goes out again; zero when the circuit is closed.
	Until time.Time
	// Step is set while the target is written by a lower rung than it was set to.
	Step *Step
	// MaxEntries is how many entries of a transaction it takes; 0: any number.
	MaxEntries int
}

// TargetStates are the targets in the order of the options.
func (s *Service) TargetStates() []TargetState {
	now := s.steady()
	all := make([]TargetState, 0, len(s.targets))
	for _, name := range s.targets {
		e := s.engines[name]
		present := e.present()
		rung, _ := RungNumbered(present.Rung)
		t := TargetState{Name: name, Rung: rung, Serves: present.Serves, Circuit: e.circuit.state(now), Step: e.step(), MaxEntries: present.MaxEntries}
		if t.Circuit != CircuitClosed {
			t.Until = e.circuit.ends()
		}
		all = append(all, t)
	}
	return all
}
