package preflight

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"sync"

	"enbloc/server/target/fhirserver"
)

func (r *run) create(ctx context.Context) {
	r.facts.written = true
	r.timed(GroupWriting, "create", "Creating one resource", func() (Status, string, string) {
		e, a := r.post(ctx, r.canary("Observation", "one", nil), "")
		if !done(a) {
			return Fail, "An Observation could not be created: " + answered(a) + ".", "Ask for create on the types of a case, and for the permission."
		}
		r.facts.creates = true
		if e.ID == "" {
			return Warn, "It was created, but the answer does not say where.", "Ask for a Location header. Until then everything is searched for after writing."
		}
		return Pass, "An Observation was created.", ""
	})
}

// updating writes a version, then tries to overwrite it with a version that is
// not current: what the server does then decides whether a change by somebody
// else is safe.
func (r *run) updating(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	e, a := r.post(ctx, r.canary("Observation", "versions", nil), "")
	if !done(a) || e.ID == "" {
		return
	}
	body := r.canary("Observation", "versions", map[string]any{"id": e.ID, "valueString": "HTEST second"})
	r.timed(GroupWriting, "update", "Updating under the current version", func() (Status, string, string) {
		a := r.saw("update Observation", r.Client.Update(ctx, "Observation", e.ID, encode(body), e.Version))
		if !done(a) {
			return Fail, "An update by id was refused: " + answered(a) + ".", "Ask for update on the types of a case; without it a correction cannot reach the record."
		}
		r.facts.updates = true
		return Pass, "The update was taken.", ""
	})
	if !r.facts.updates {
		return
	}
	r.timed(GroupWriting, "stale-version", "Refusing an update of a version that is not current", func() (Status, string, string) {
		body["valueString"] = "HTEST overwritten"
		a := r.saw("update Observation, stale", r.Client.Update(ctx, "Observation", e.ID, encode(body), stale))
		now, ok := r.read(ctx, "Observation", e.ID)
		switch {
		case ok && !contains(now, "HTEST overwritten") && !done(a):
			r.facts.versions = true
			return Pass, "It was refused: " + answered(a) + ".", ""
		case ok && !contains(now, "HTEST overwritten"):
			return Warn, "It was answered as done, and nothing was changed.", "Ask for 412: an answer of success to what was not done hides a conflict."
		}
		return Fail, "The stale update overwrote the newer version.", "Ask for If-Match to be honoured. Until then a change that somebody else makes to our records is overwritten without notice."
	})
}

// repeating posts the same twice with a condition.
func (r *run) repeating(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupWriting, "conditional-create", "Creating the same twice with a condition", func() (Status, string, string) {
		c := r.canary("Observation", "twice", nil)
		_, first := r.post(ctx, c, r.condition("identifier", "twice"))
		_, second := r.post(ctx, c, r.condition("identifier", "twice"))
		n, _ := r.count(ctx, "Observation", "identifier", "twice")
		switch {
		case n == 1 && done(first) && second.Status < http.StatusBadRequest:
			r.facts.condition = true
			return Pass, fmt.Sprintf("One resource; the answers were %d and %d.", first.Status, second.Status), ""
		case !done(first):
			return Warn, "A conditional create was refused: " + answered(first) + ".", "Ask for conditional create: with it a repetition after a lost answer cannot double."
		case n < 0:
			return Warn, "The search by identifier does not work, so it cannot be told.", "Ask for the search by identifier."
		}
		return Fail, fmt.Sprintf("After two creates under one condition there are %d.", n), "Ask for If-None-Exist to be honoured. Until then the server is searched before and after each create."
	})
}

const racers = 4

// onlyOne is what to do about a server that takes the same twice at one moment.
const onlyOne = "Let one service only send to this server. It sends each case one state after the other, so it does not race with itself."

// atOnce sends all at the same moment.
func (r *run) atOnce(interaction string, sends ...func() fhirserver.Answer) []fhirserver.Answer {
	answers := make([]fhirserver.Answer, len(sends))
	var wait sync.WaitGroup
	for i, send := range sends {
		wait.Go(func() { answers[i] = send() })
	}
	wait.Wait()
	for _, a := range answers {
		r.saw(interaction, a)
	}
	return answers
}

// racing sends the same conditional create several times at once, as a single
// request; transactions race by themselves.
func (r *run) racing(ctx context.Context) {
	if !r.facts.condition {
		return
	}
	r.timed(GroupWriting, "race", "Creating the same at the same moment", func() (Status, string, string) {
		body, condition := encode(r.canary("Observation", "race", nil)), r.condition("identifier", "race")
		create := func() fhirserver.Answer { return r.Client.Create(ctx, "Observation", body, condition) }
		r.atOnce("create Observation, racing", slices.Repeat([]func() fhirserver.Answer{create}, racers)...)
		if n, _ := r.count(ctx, "Observation", "identifier", "race"); n != 1 {
			return Fail, fmt.Sprintf("%d senders at once left %d resources.", racers, n), onlyOne
		}
		return Pass, fmt.Sprintf("%d senders at once left one resource.", racers), ""
	})
}

func (r *run) clientID(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupWriting, "client-id", "Creating under an id of ours", func() (Status, string, string) {
		id := r.key("a")
		c := r.canary("Observation", "client", map[string]any{"id": id})
		a := r.saw("update Observation, new id", r.Client.Update(ctx, "Observation", id, encode(c), ""))
		if !done(a) {
			return Info, "Not possible: " + answered(a) + ".", ""
		}
		now, ok := r.read(ctx, "Observation", id)
		if m, err := fhirserver.ReadMeta(now); !ok || err != nil || m.ID != id {
			if e := fhirserver.ReadSingle(a); e.ID != "" {
				r.remember("Observation", e.ID, e.Version, c)
			}
			return Warn, "It was taken, and does not stand under that id.", "Nothing has to be done: ids of the server are used."
		}
		r.remember("Observation", id, "", c)
		r.facts.clientIDs = true
		return Pass, "It stands under the id that we gave.", ""
	})
}

func (r *run) conditionalUpdate(ctx context.Context) {
	if !r.facts.creates || r.facts.condition {
		return // better is there, so this is never used
	}
	r.timed(GroupWriting, "conditional-update", "Updating by a condition", func() (Status, string, string) {
		c := encode(r.canary("Observation", "where", nil))
		first := r.saw("update Observation where", r.Client.UpdateWhere(ctx, "Observation", r.condition("identifier", "where"), c))
		r.saw("update Observation where", r.Client.UpdateWhere(ctx, "Observation", r.condition("identifier", "where"), c))
		n, _ := r.count(ctx, "Observation", "identifier", "where")
		if !done(first) || n != 1 {
			return Info, fmt.Sprintf("Not possible: %s, and %d stand.", answered(first), max(n, 0)), ""
		}
		r.facts.conditionalUpdate = true
		return Warn, "Two updates by one condition left one resource.", "Ask for conditional create: updates by condition double under races on several servers."
	})
}

// byTag asks for the two types that R4 gives no search by identifier.
func (r *run) byTag(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	for _, kind := range tagged {
		id := map[string]string{"AdverseEvent": "tag-adverse-event", "Provenance": "tag-provenance"}[kind]
		r.timed(GroupWriting, id, "Finding "+map[string]string{"AdverseEvent": "an AdverseEvent", "Provenance": "a Provenance"}[kind]+" by its tag", func() (Status, string, string) {
			c := r.canary(kind, "tag", nil)
			condition := ""
			if r.facts.condition {
				condition = r.condition("_tag", "tag")
			}
			_, first := r.post(ctx, c, condition)
			if done(first) && condition != "" {
				_, _ = r.post(ctx, c, condition)
			}
			n, _ := r.count(ctx, kind, "_tag", "tag")
			switch {
			case !done(first):
				return Fail, "It could not be created: " + answered(first) + ".", "Ask for create of " + kind + "."
			case n != 1:
				return Fail, fmt.Sprintf("After writing there are %d under one tag.", n), "Ask for the search parameter _tag: R4 gives this type no search by identifier."
			}
			return Pass, "There is one, found by its tag.", ""
		})
		if r.report.Checks[len(r.report.Checks)-1].Status == Pass {
			r.facts.byTag = kind == "Provenance" || r.facts.byTag
		} else {
			r.facts.byTag = false
			return
		}
	}
}

func (r *run) document(ctx context.Context) {
	if r.facts.creates {
		return // a whole record is better
	}
	r.timed(GroupWriting, "document", "Creating a document", func() (Status, string, string) {
		c := r.canary("DocumentReference", "document", map[string]any{"content": attachmentOf([]byte("HTEST"), "text/plain")})
		_, a := r.post(ctx, c, "")
		if !done(a) {
			return Fail, "A DocumentReference could not be created either: " + answered(a) + ".", "Ask for create of DocumentReference at least."
		}
		r.facts.document = true
		return Pass, "A DocumentReference can be created.", ""
	})
}
