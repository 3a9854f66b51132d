package delivery

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/target"
)

var noConnection = &Failure{Class: target.Unknown, Reason: NoAnswer}

// opened is a circuit that has just opened, with some attempts still under way.
func opened(t *testing.T, now time.Time) *circuit {
	t.Helper()
	c := &circuit{}
	for range opensAfter {
		p, why, _ := c.admit(now)
		require.Empty(t, why)
		c.settle(p, noConnection, now)
	}
	require.Equal(t, CircuitIsOpen, c.state(now))
	return c
}

// What was under way when the circuit opened fails too, and makes the rest no
// longer; only the probe does.
func TestOneRestIsEnoughForAllThatWereUnderWay(t *testing.T) {
	t.Parallel()
	now := time.Now()
	c := opened(t, now)
	for range 12 {
		require.False(t, c.settle(pass{}, noConnection, now.Add(time.Second)))
	}
	require.Equal(t, now.Add(firstRest), c.ends())

	later := now.Add(firstRest)
	p, why, _ := c.admit(later)
	require.Empty(t, why)
	require.True(t, p.probe)
	_, why, _ = c.admit(later)
	require.Equal(t, CircuitOpen, why, "one at a time")
	c.settle(pass{}, noConnection, later) // a straggler is not the probe
	_, why, _ = c.admit(later)
	require.Equal(t, CircuitOpen, why)
	c.settle(p, noConnection, later)
	require.Equal(t, later.Add(2*firstRest), c.ends())
	require.True(t, c.settle(pass{}, nil, later), "one that was answered shows that the target is there")
	require.Equal(t, CircuitClosed, c.state(later))
}

// A probe that says nothing makes way for the next.
func TestAProbeThatSaysNothingMakesWay(t *testing.T) {
	t.Parallel()
	now := time.Now()
	c := opened(t, now)
	later := now.Add(firstRest)
	p, _, _ := c.admit(later)
	c.drop(pass{})
	_, why, _ := c.admit(later)
	require.Equal(t, CircuitOpen, why)
	c.drop(p)
	p, why, _ = c.admit(later)
	require.Empty(t, why)
	require.True(t, p.probe)
	require.Equal(t, CircuitHalfOpen, c.state(later))
}

// The patience that a target asks for is everybody's (RFC 9110, 10.2.3; RFC
// 6585, 4), but a short one is met by the halved bound.
func TestATargetThatAsksForPeaceGetsIt(t *testing.T) {
	t.Parallel()
	now := time.Now()
	asks := func(status int, after time.Duration) *Failure {
		return &Failure{Class: target.Retry, Reason: TargetBusy, Status: status, After: after}
	}
	c := &circuit{}
	for _, f := range []*Failure{asks(429, time.Second), asks(409, time.Minute), asks(503, 0)} {
		c.settle(pass{}, f, now)
		_, why, _ := c.admit(now)
		require.Empty(t, why)
	}
	c.settle(pass{}, asks(429, 2*time.Minute), now)
	c.settle(pass{}, asks(503, time.Minute), now) // which is over sooner
	c.settle(pass{}, nil, now)                    // which was under way
	_, why, wait := c.admit(now)
	require.Equal(t, AskedToWait, why)
	require.Equal(t, 2*time.Minute, wait)
	require.Equal(t, CircuitIsOpen, c.state(now))
	require.Equal(t, now.Add(2*time.Minute), c.ends())
	_, why, _ = c.admit(now.Add(2 * time.Minute))
	require.Empty(t, why)

	c.settle(pass{}, asks(503, 1000*time.Hour), now)
	_, _, wait = c.admit(now)
	require.LessOrEqual(t, wait, 2*time.Hour, "nothing waits longer than that")
}

// An attempt that we broke off says nothing about the target.
func TestWhatWeBreakOffIsNotTheTargetsFault(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	require.False(t, brokenOff(ctx, noConnection))
	cancel()
	require.True(t, brokenOff(ctx, noConnection))
	require.False(t, brokenOff(ctx, nil))
	require.False(t, brokenOff(ctx, &Failure{Class: target.Auth, Status: 401}), "the target has answered")
	slow, end := context.WithTimeout(context.Background(), 0)
	defer end()
	require.False(t, brokenOff(slow, noConnection), "a target that is too slow is")
}
