package delivery

import (
	"context"
	"encoding/json"
	"sync"
	"time"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// resolve looks up what the hospital owns (patient, encounter, staff) and
// tells the ops what to write for it. Nothing is ever created there and nothing
// guessed: a patient must be exactly one, and anybody else who is not exactly
// one is named by identifier.
func (r *run) resolve(ctx context.Context, ops []op) error {
	resolved, failure := resolveAll(ops, func(x external) (string, *Failure) { return r.lookUp(ctx, x) })
	if failure != nil {
		return failure
	}
	for i := range ops {
		local, err := ops[i].local.localise(resolved)
		if err != nil {
			return &Failure{Class: target.Permanent, Reason: OurMistake, Cause: err}
		}
		ops[i].local, ops[i].resolved = local, resolved
	}
	return nil
}

// leave lets the target look up what many cases share, and so name often.
func (r *run) leave(refs map[string]string) {
	for _, res := range r.g.Resources {
		if _, stands := r.ledger[res.Key]; stands && res.Shared {
			refs[res.Reference()] = res.Type + "?" + res.ConditionIn(r.g.Named().RoleKeySystem)
		}
	}
}

// lookUp returns "Type/id", or nothing for a reference by identifier.
func (r *run) lookUp(ctx context.Context, x external) (string, *Failure) {
	if literal, ok := r.staff.get(x, r.now()); ok {
		return literal, nil
	}
	hits, a := r.target.Client.Search(ctx, fhirserver.Query{Type: x.Type, Param: "identifier", Values: []string{x.Token}, Sole: true})
	if hits == nil {
		reaction := a.Reaction(r.now())
		if x.Type == "Patient" && r.target.Patient == PatientConditional && mayNotAsk(reaction.Class) {
			return byCondition(x), nil
		}
		named := x.Type != "Patient" || r.target.Patient == PatientLogical
		if named && (reaction.Class == target.StepDown || reaction.Class == target.Permanent) {
			return "", nil // a target without such a type has nobody of that kind
		}
		// A search changes nothing, so no answer leaves no doubt behind.
		return "", r.unread(a)
	}
	if x.Type == "Patient" {
		return r.patient(ctx, x, hits)
	}
	if len(hits) != 1 {
		return "", nil
	}
	m, err := fhirserver.ReadMeta(hits[0])
	if err != nil || !fhirserver.ValidID(m.ID) {
		return "", nil
	}
	r.staff.put(x, x.Type+"/"+m.ID, r.now())
	return x.Type + "/" + m.ID, nil
}

// byCondition leaves the search to the target, in the write itself.
func byCondition(x external) string {
	return x.Type + "?" + fhirserver.Condition("identifier", x.System, x.Value)
}

// mayNotAsk reports whether a target does not let us search for patients, which
// is no reason for it not to do so itself.
func mayNotAsk(c target.Class) bool {
	return c == target.Auth || c == target.StepDown || c == target.Permanent
}

// patient insists on exactly one patient who was not merged into another.
func (r *run) patient(ctx context.Context, x external, hits []json.RawMessage) (string, *Failure) {
	switch len(hits) {
	case 0:
		switch r.target.Patient {
		case PatientLogical:
			return "", nil
		case PatientCreate:
			return r.makePatient(ctx, x)
		case PatientConditional:
			return byCondition(x), nil
		}
		return "", &Failure{Class: target.Park, Reason: WaitingForPatient}
	case 1:
	default:
		return "", &Failure{Class: target.Conflict, Reason: PatientAmbiguous}
	}
	literal, failure := r.soundPatient(hits[0])
	if failure == nil && r.target.Patient == PatientConditional {
		return byCondition(x), nil
	}
	return literal, failure
}

// staffCache remembers for a few minutes who people and places are: the same
// few occur in every case. Patients and encounters are looked up every time.
type staffCache struct {
	mu    sync.Mutex
	known map[string]staffEntry
}

type staffEntry struct {
	literal string
	until   time.Time
}

const (
	staffKept  = 5 * time.Minute
	staffLimit = 10_000
)

func (c *staffCache) get(x external, now time.Time) (string, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.known[x.Type+"?"+x.Token]
	return e.literal, ok && now.Before(e.until)
}

func (c *staffCache) put(x external, literal string, now time.Time) {
	if x.Type == "Patient" || x.Type == "Encounter" {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.known == nil || len(c.known) >= staffLimit {
		c.known = map[string]staffEntry{}
	}
	c.known[x.Type+"?"+x.Token] = staffEntry{literal, now.Add(staffKept)}
}
