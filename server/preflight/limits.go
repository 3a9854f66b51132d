package preflight

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"
	"unicode"

	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// entriesLimit and bytesLimit double a transaction until it is refused for its
// size. Its last entry must fail, so that a server that is all or nothing keeps
// none of it.
func (r *run) entriesLimit(ctx context.Context) {
	r.timed(GroupLimits, "entries", "Entries in one transaction", func() (Status, string, string) {
		// A small one goes first, as a server that bears few shall not be taken for
		// one that bears none.
		return r.doubling(ctx, "entries", smallest, r.Entries, func(n int) []map[string]any {
			entries := make([]map[string]any, 0, n)
			for i := range n - 1 {
				name := fmt.Sprintf("limit-%d-%d", n, i)
				entries = append(entries, entry(r.canary("Observation", name, nil), "POST", "Observation", nil))
			}
			return entries
		})
	})
}

func (r *run) bytesLimit(ctx context.Context) {
	r.timed(GroupLimits, "bytes", "Bytes in one transaction", func() (Status, string, string) {
		return r.doubling(ctx, "bytes", megabyte, r.Bytes, func(n int) []map[string]any {
			c := r.canary("Observation", fmt.Sprintf("bytes-%d", n), map[string]any{"note": []any{map[string]any{"text": strings.Repeat("HTEST ", n/6)}}})
			return []map[string]any{entry(c, "POST", "Observation", nil)}
		})
	})
}

// smallest is how many entries every server that takes transactions must bear.
const smallest = 2

func (r *run) doubling(ctx context.Context, unit string, from, to int, build func(int) []map[string]any) (Status, string, string) {
	if r.bad == nil {
		return Skip, "Not tried: the server is not all or nothing, so it would keep what is only sent for its size.", ""
	}
	send := func(entries []map[string]any) fhirserver.Answer {
		_, a := r.transact(ctx, "transaction of "+unit, append(entries, r.bad())...)
		if a.Duration > r.longest {
			r.longest = a.Duration
		}
		return a
	}
	// The refusal that is expected, for anything but the size.
	c := r.canary("Observation", "limit-"+unit, nil)
	expected := send([]map[string]any{entry(c, "POST", "Observation", nil)})
	if expected.Err != nil || busy(expected) || expected.Status >= http.StatusInternalServerError {
		return Skip, "It could not be prepared: " + answered(expected) + ".", ""
	}
	taken := 0
	if unit == "entries" {
		taken = smallest
	}
	for n := max(from, 2*taken); n <= to; n *= 2 {
		a := send(build(n))
		switch {
		case done(a):
			return Skip, "Not known: a transaction was taken that had to fail.", ""
		case busy(a):
			return Skip, fmt.Sprintf("%d %s were taken; then the server asked for a pause.", taken, unit), ""
		case a.Err != nil || refusal(a) != refusal(expected):
			if unit == "entries" {
				r.mostEntries = taken
			}
			return Warn, fmt.Sprintf("%d %s were taken, %d not: %s.", taken, unit, n, answered(a)), "Ask for a higher limit if cases are larger; one of several lesions has about 100 entries and 300,000 bytes."
		}
		taken = n
	}
	return Pass, fmt.Sprintf("%d %s were taken; more was not tried.", taken, unit), ""
}

func busy(a fhirserver.Answer) bool {
	return a.Status == http.StatusTooManyRequests || a.Status == http.StatusServiceUnavailable
}

// refusal is what tells one kind of refusal from another: the status, the codes
// of the issues and the words of their texts. Numbers and ids are left out, as
// they differ between two refusals of one kind. It is compared and never shown.
func refusal(a fhirserver.Answer) string {
	var o struct {
		Issue []struct {
			Diagnostics string
			Details     struct{ Text string }
		}
	}
	text := fmt.Sprint(a.Status)
	for _, i := range target.ReadIssues(a.Body) {
		text += " " + i.Severity + "/" + i.Code
	}
	_ = json.Unmarshal(a.Body, &o) // no outcome has no words
	for _, i := range o.Issue {
		for _, word := range strings.Fields(i.Diagnostics + " " + i.Details.Text) {
			if !strings.ContainsFunc(word, unicode.IsDigit) {
				text += " " + word
			}
		}
	}
	return text
}

// timeLimit says how long the largest probe took, and how long is waited.
func (r *run) timeLimit(context.Context) {
	if r.longest == 0 {
		return
	}
	r.timed(GroupLimits, "time", "Time of one request", func() (Status, string, string) {
		limit := r.Client.Timeout()
		found := fmt.Sprintf("The slowest of the transactions that were sent for their size took %s; after %s a request is given up.",
			r.longest.Round(time.Millisecond), limit)
		if r.longest > limit/2 {
			return Warn, found, "Ask why it takes so long. A request that is given up is settled by reading, and then sent again."
		}
		return Info, found, ""
	})
}
