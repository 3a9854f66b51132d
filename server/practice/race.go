package practice

import (
	"math/rand/v2"
	"net/http"
	"time"
)

// race plays what requests do to each other that are under way at once. Here they
// are served one after the other, so two meet when one arrived before the other
// was done; each write is held up a little, so that they do.
type race struct {
	dice *rand.Rand
	// done counts the writes, and changed says after which of them something was
	// as it is: a Type/id, or a Type?condition.
	done    int
	changed map[string]int
}

// How often who meets another loses, and how often a conditional update does not
// see what the other has made. The real server let 60% lose, and left a double in
// every fourth round of 16: one in 50. More often is sooner seen.
const (
	losing = 0.6
	missed = 0.05
	// longestHold is how long a write is held up at most.
	longestHold = 10 * time.Millisecond
)

func newRace(seed uint64) *race {
	return &race{dice: rand.New(rand.NewPCG(seed, 0x72616365)), changed: map[string]int{}} //nolint:gosec // to be repeated, not to be secret
}

// arrive notes what was done when a request came, and holds a write up.
func (r *Receiver) arrive(req *http.Request) (since int) {
	r.mu.Lock()
	if r.race == nil || req.Method == http.MethodGet {
		r.mu.Unlock()
		return 0
	}
	since = r.race.done
	hold := time.Duration(r.race.dice.Int64N(int64(longestHold)))
	r.mu.Unlock()
	timer := time.NewTimer(hold)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-req.Context().Done():
	}
	return since
}

// meets reports whether what stands under the key was changed by a request that
// was under way at the same time.
func (r *Receiver) meets(key string) bool {
	return r.race != nil && r.race.changed[key] > r.since
}

// loses is the refusal of a request that met another; nil when it was lucky.
func (r *Receiver) loses(key string) *refusal {
	if !r.meets(key) || r.race.dice.Float64() >= losing {
		return nil
	}
	return &refusal{status: http.StatusConflict, code: "conflict", text: "another request changed the same at the same time"}
}

// overlooks reports whether a conditional update misses what another has just made.
func (r *Receiver) overlooks(key string) bool {
	return r.meets(key) && r.race.dice.Float64() < missed
}

// raced notes that an entry changed something.
func (r *Receiver) raced(e *entry) {
	if r.race == nil {
		return
	}
	r.race.done++
	r.race.changed[e.kind+"/"+e.stored] = r.race.done
	if condition := e.condition + e.where; condition != "" {
		r.race.changed[e.kind+"?"+condition] = r.race.done
	}
}
