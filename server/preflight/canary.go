package preflight

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"

	"enbloc/mapping/graph"
	"enbloc/server/target"
	"enbloc/server/target/fhirserver"
)

// System is that of the tags and identifiers of canaries: nobody can take them
// for anything else.
const System = "https://enbloc.example/fhir/sid/preflight"

// facts are what writing has shown; a false one is not shown, for whatever
// reason.
type facts struct {
	creates, updates, versions         bool // one POST, one PUT by id, If-Match holds
	condition                          bool // If-None-Exist repeats to one
	raceSafe                           bool // and ifNoneExist in transactions races to one
	transaction, atomic, inTransaction bool // taken; all or nothing; ifNoneExist in it
	clientIDs, conditionalUpdate       bool
	byTag, document                    bool
	looksUp                            bool // a reference by search becomes a link, and none without a match
	wrongPatients, testPatient         bool // no patient is told from another; the given one is there
	validates                          bool // $validate finds what is wrong
	written                            bool // anything was tried at all
	deletes                            bool
}

// made is a resource that has to be taken back.
type made struct {
	kind, id, version string
	body              map[string]any
}

// canary is a labelled, tagged resource under a name that is unique to the run.
func (r *run) canary(kind, name string, more map[string]any) map[string]any {
	c := map[string]any{"resourceType": kind,
		"meta": map[string]any{
			"security": []any{map[string]any{"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST", "display": "test health data"}},
			"tag":      []any{map[string]any{"system": System, "code": r.value(name)}, map[string]any{"system": System, "code": r.report.Run}},
		}}
	text := map[string]any{"text": "HTEST enbloc preflight"}
	id := map[string]any{"system": System, "value": r.value(name)}
	switch kind {
	case "Observation":
		c["identifier"], c["status"], c["code"] = []any{id}, "final", text
	case "AdverseEvent":
		c["identifier"], c["actuality"], c["event"], c["subject"] = id, "potential", text, map[string]any{"display": "HTEST nobody"}
	case "Provenance":
		c["target"], c["recorded"] = []any{map[string]any{"display": "HTEST nothing"}}, r.report.Started.Format("2006-01-02T15:04:05Z")
		c["agent"] = []any{map[string]any{"who": map[string]any{"display": "HTEST enbloc preflight"}}}
	case "DocumentReference":
		c["identifier"], c["status"], c["description"] = []any{id}, "current", "HTEST enbloc preflight"
	}
	for k, v := range more {
		c[k] = v
	}
	return c
}

func (r *run) value(name string) string { return "HTEST-" + r.report.Run + "-" + name }

func (r *run) condition(param, name string) string {
	return fhirserver.Condition(param, System, r.value(name))
}

func encode(v any) []byte {
	b, _ := json.Marshal(v) // maps, lists, strings and numbers always marshal
	return b
}

// post creates one canary and remembers it.
func (r *run) post(ctx context.Context, c map[string]any, condition string) (fhirserver.EntryResult, fhirserver.Answer) {
	kind, _ := c["resourceType"].(string)
	a := r.saw("create "+kind, r.Client.Create(ctx, kind, encode(c), condition))
	e := fhirserver.ReadSingle(a)
	if done(a) && e.ID != "" {
		r.remember(kind, e.ID, e.Version, c)
	}
	return e, a
}

func (r *run) remember(kind, id, version string, body map[string]any) {
	for i, m := range r.made {
		if m.kind == kind && m.id == id {
			r.made[i].version, r.made[i].body = version, body
			return
		}
	}
	r.made = append(r.made, made{kind, id, version, body})
}

func done(a fhirserver.Answer) bool {
	return a.Err == nil && (a.Status == http.StatusOK || a.Status == http.StatusCreated)
}

// count searches for a name and returns the hits; -1 when the search failed.
// Whatever it finds is remembered: a create whose answer named no id is found so.
func (r *run) count(ctx context.Context, kind, param, name string) (int, []json.RawMessage) {
	hits, a := r.Client.Search(ctx, fhirserver.Query{Type: kind, Plain: true, Param: param, Values: []string{fhirserver.Token(System, r.value(name))}})
	r.saw("search "+kind, a)
	if hits == nil {
		return -1, nil
	}
	for _, h := range hits {
		var body map[string]any
		if m, err := fhirserver.ReadMeta(h); err == nil && json.Unmarshal(h, &body) == nil && ours(body) {
			r.remember(m.Type, m.ID, m.Version, body)
		}
	}
	return len(hits), hits
}

// ours makes sure that nothing is ever taken back that we did not make: a server
// that ignores the search condition returns other people's records.
func ours(body map[string]any) bool {
	meta, _ := body["meta"].(map[string]any)
	tags, _ := meta["tag"].([]any)
	for _, t := range tags {
		if o, ok := t.(map[string]any); ok && o["system"] == System {
			return true
		}
	}
	return false
}

func (r *run) read(ctx context.Context, kind, id string) ([]byte, bool) {
	a := r.saw("read "+kind, r.Client.Read(ctx, kind, id))
	return a.Body, a.Err == nil && a.Status == http.StatusOK
}

// entry is one entry of a transaction.
func entry(c map[string]any, method, url string, more map[string]any) map[string]any {
	request := map[string]any{"method": method, "url": url}
	for k, v := range more {
		request[k] = v
	}
	return map[string]any{"resource": c, "request": request}
}

func (r *run) post0(ctx context.Context, entries ...map[string]any) ([]fhirserver.EntryResult, fhirserver.Answer) {
	return r.transact(ctx, "transaction", entries...)
}

// transact sends a transaction and remembers what it made.
func (r *run) transact(ctx context.Context, name string, entries ...map[string]any) ([]fhirserver.EntryResult, fhirserver.Answer) {
	a := r.saw(name, r.Client.Transaction(ctx, encode(map[string]any{"resourceType": "Bundle", "type": "transaction", "entry": entries})))
	results, err := fhirserver.ReadTransaction(a.Body)
	if err != nil || !done(a) {
		return nil, a
	}
	for i, e := range results {
		if i >= len(entries) || e.ID == "" || e.Status >= http.StatusBadRequest {
			continue
		}
		body, _ := entries[i]["resource"].(map[string]any)
		kind, _ := body["resourceType"].(string)
		r.remember(kind, e.ID, e.Version, body)
	}
	return results, a
}

// answered says in words how a request was answered; never with its text.
func answered(a fhirserver.Answer) string {
	switch {
	case a.NotSent:
		return "there was no connection"
	case a.Err != nil:
		return "no usable answer came"
	}
	text := "the answer was " + strconv.Itoa(a.Status)
	if issues := target.ReadIssues(a.Body); len(issues) > 0 && a.Status >= http.StatusBadRequest {
		text += " (" + issues.String() + ")"
	}
	return text
}

// stale is a version that no resource of this run has.
const stale = "987654321"

// cleanUp marks every canary as entered in error and then deletes it where that
// is allowed; the last made goes first, as others may refer to it.
func (r *run) cleanUp(ctx context.Context) {
	r.timed(GroupCleaning, "cleanup", "Taking the canaries back", func() (Status, string, string) {
		removed := 0
		for i := len(r.made) - 1; i >= 0; i-- {
			marked, gone := r.takeBack(ctx, r.made[i])
			if gone {
				removed++
				continue
			}
			r.report.Leftovers = append(r.report.Leftovers, Leftover{r.made[i].kind, r.made[i].id, marked})
		}
		r.facts.deletes = removed > 0
		found := fmt.Sprintf("%d canaries were made, %d are deleted again.", len(r.made), removed)
		if n := len(r.report.Leftovers); n > 0 {
			return Warn, found + fmt.Sprintf(" %d stay, labelled HTEST; they are listed below.", n), "Have the listed resources removed, or leave them: they are labelled as test data and marked where the server allowed it."
		}
		return Pass, found, ""
	})
}

func (r *run) takeBack(ctx context.Context, m made) (marked, gone bool) {
	body := map[string]any{}
	for k, v := range m.body {
		body[k] = v
	}
	body["id"] = m.id
	if _, has := body["status"]; has {
		body["status"] = "entered-in-error"
		now, ok := r.read(ctx, m.kind, m.id)
		if meta, err := fhirserver.ReadMeta(now); ok && err == nil {
			marked = done(r.saw("mark "+m.kind, r.Client.Update(ctx, m.kind, m.id, encode(body), meta.Version)))
		}
	}
	a := r.saw("delete "+m.kind, r.Client.Delete(ctx, m.kind, m.id))
	gone = a.Err == nil && (a.Status == http.StatusOK || a.Status == http.StatusNoContent || a.Status == http.StatusAccepted ||
		a.Status == http.StatusNotFound || a.Status == http.StatusGone)
	return marked, gone
}

// key is a role key of the canary kind, as a client id would read.
func (r *run) key(name string) string {
	return graph.Resource{Key: "kHTEST" + r.report.Run + name}.Key
}
