package preflight

import (
	"bytes"
	"context"
	"fmt"

	"github.com/google/uuid"

	"enbloc/server/target/fhirserver"
)

func contains(body []byte, text string) bool { return bytes.Contains(body, []byte(text)) }

// transaction writes two linked resources twice. The second time has to find
// both, and the link has to be a real one.
func (r *run) transaction(ctx context.Context) {
	if !r.facts.creates {
		return
	}
	r.timed(GroupWriting, "transaction", "Writing several resources at once, twice", func() (Status, string, string) {
		send := func() ([]fhirserver.EntryResult, fhirserver.Answer) {
			return r.post0(ctx, r.linked("part", "whole")...)
		}
		first, a := send()
		if first == nil {
			return Warn, "A transaction was refused: " + answered(a) + ".", "Ask for transactions: without them a case is written piece by piece."
		}
		r.facts.transaction = true
		parts, _ := r.count(ctx, "Observation", "identifier", "part")
		wholes, hits := r.count(ctx, "Observation", "identifier", "whole")
		if parts != 1 || wholes != 1 {
			return Fail, fmt.Sprintf("It was answered as done, and %d and %d of one each are found.", parts, wholes), "Ask whether a search sees what was just written."
		}
		if contains(hits[0], "urn:uuid:") {
			r.facts.transaction = false
			return Fail, "The link between the two was stored as it was sent and leads nowhere.", "Ask for links inside a transaction to be resolved. Until then requests are sent one by one."
		}
		if !r.facts.condition {
			return Pass, "Both were written and linked; a repetition was not tried, as conditions do not work.", ""
		}
		_, _ = send()
		parts, _ = r.count(ctx, "Observation", "identifier", "part")
		wholes, _ = r.count(ctx, "Observation", "identifier", "whole")
		if parts != 1 || wholes != 1 {
			return Fail, fmt.Sprintf("After the same transaction twice there are %d and %d.", parts, wholes), "Ask for ifNoneExist to be honoured inside a transaction."
		}
		r.facts.inTransaction = true
		return Pass, "Both were written once, however often they were sent, and linked.", ""
	})
}

// linked are two resources of which the second refers to the first.
func (r *run) linked(part, whole string) []map[string]any {
	urn := "urn:uuid:" + uuid.NewString()
	first := r.conditional(r.canary("Observation", part, nil), part)
	first["fullUrl"] = urn
	second := r.conditional(r.canary("Observation", whole, map[string]any{"hasMember": []any{map[string]any{"reference": urn}}}), whole)
	second["fullUrl"] = "urn:uuid:" + uuid.NewString()
	return []map[string]any{first, second}
}

// racingTransactions sends the same transaction several times at once, under the
// conditions by which delivery writes a case.
func (r *run) racingTransactions(ctx context.Context) {
	if !r.facts.inTransaction {
		return
	}
	r.timed(GroupWriting, "transaction-race", "Writing the same resources at the same moment", func() (Status, string, string) {
		var sends []func() fhirserver.Answer
		for range racers {
			body := encode(map[string]any{"resourceType": "Bundle", "type": "transaction", "entry": r.linked("raced-part", "raced-whole")})
			sends = append(sends, func() fhirserver.Answer { return r.Client.Transaction(ctx, body) })
		}
		taken := 0
		for _, a := range r.atOnce("transaction, racing", sends...) {
			if done(a) {
				taken++
			}
		}
		// What stands counts: who loses the race may be refused, and is sent again.
		parts, _ := r.count(ctx, "Observation", "identifier", "raced-part")
		wholes, _ := r.count(ctx, "Observation", "identifier", "raced-whole")
		found := fmt.Sprintf("%d transactions at once, of which %d were taken, left %d and %d of one each.", racers, taken, max(parts, 0), max(wholes, 0))
		switch {
		case parts == 1 && wholes == 1:
			r.facts.raceSafe = true
			return Pass, found, ""
		case taken == 0:
			return Warn, found, "Ask why transactions are refused that come at the same moment: delivery sends several cases at once."
		}
		return Fail, found, onlyOne
	})
}

func (r *run) conditional(c map[string]any, name string) map[string]any {
	more := map[string]any{}
	if r.facts.condition {
		more["ifNoneExist"] = r.condition("identifier", name)
	}
	kind, _ := c["resourceType"].(string)
	return entry(c, "POST", kind, more)
}

// atomicity sends a good entry with one that must fail.
func (r *run) atomicity(ctx context.Context) {
	if !r.facts.transaction {
		return
	}
	r.timed(GroupWriting, "atomic", "Keeping nothing of a transaction that fails", func() (Status, string, string) {
		held, a := r.post(ctx, r.canary("Observation", "held", nil), "")
		if !done(a) || held.ID == "" {
			return Skip, "It could not be prepared: " + answered(a) + ".", ""
		}
		stalely := func() map[string]any {
			bad := r.canary("Observation", "held", map[string]any{"id": held.ID, "valueString": "HTEST overwritten"})
			return entry(bad, "PUT", "Observation/"+held.ID, map[string]any{"ifMatch": fhirserver.ETag(stale)})
		}
		n, a := r.half(ctx, "atomic", stalely())
		now, _ := r.read(ctx, "Observation", held.ID)
		switch {
		case contains(now, "HTEST overwritten"):
			r.facts.versions = false
			// What had to fail did not, so nothing is known yet: a type that no
			// server has will do.
			wrongly := func() map[string]any {
				wrong := r.canary("Observation", "wrong", map[string]any{"resourceType": "HtestNoSuchType"})
				return entry(wrong, "POST", "HtestNoSuchType", nil)
			}
			if n, _ = r.half(ctx, "atomic-2", wrongly()); n == 0 {
				r.facts.atomic, r.bad = true, wrongly
			}
			return Fail, "The stale update in the transaction overwrote the newer version.", "Ask for ifMatch to be honoured inside a transaction."
		case n == 0:
			r.facts.atomic, r.bad = true, stalely
			return Pass, "Nothing stayed: " + answered(a) + ".", ""
		}
		return Fail, "The good half stayed although the other failed: " + answered(a) + ".", "Ask for transactions that are all or nothing. Until then requests are sent one by one, the report last."
	})
}

// half sends a good entry with one that must fail, and counts the good one.
func (r *run) half(ctx context.Context, name string, bad map[string]any) (int, fhirserver.Answer) {
	_, a := r.post0(ctx, r.conditional(r.canary("Observation", name, nil), name), bad)
	n, _ := r.count(ctx, "Observation", "identifier", name)
	return n, a
}
