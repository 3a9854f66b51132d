package practice

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// entry is one entry of a transaction on its way in.
type entry struct {
	place           string // Bundle.entry[n]
	fullURL         string
	tree            map[string]any
	ready           map[string]any // the tree with its references literal
	method, kind    string
	id              string // of a PUT
	condition, when string // ifNoneExist, ifMatch
	where           string // condition of a PUT
	overlooked      bool   // it lost a race without being told
	// what became of it; refused only where entries fail alone
	refused *refusal
	status  string
	stored  string // id
	version int
}

// transaction takes a Bundle whole or not at all
// (http://hl7.org/fhir/R4/http.html#trules).
func (r *Receiver) transaction(w http.ResponseWriter, req *http.Request) *refusal {
	bundle, refused := readBody(w, req)
	if refused != nil {
		return refused
	}
	if bundle["resourceType"] != "Bundle" || bundle["type"] != "transaction" {
		return bad("only a Bundle of type transaction is taken here")
	}
	list, _ := bundle["entry"].([]any)
	if n := r.shape.MostEntries; n > 0 && len(list) > n {
		return &refusal{status: http.StatusRequestEntityTooLarge, code: "too-costly", text: "the transaction has more entries than are taken at once"}
	}
	entries, refused := r.readEntries(list)
	if refused != nil {
		return refused
	}
	if r.shape.EntryByEntry {
		r.oneByOne(entries)
	} else if refused := r.atomically(entries); refused != nil {
		return refused
	}
	answer(w, http.StatusOK, map[string]any{"resourceType": "Bundle", "type": "transaction-response", "entry": r.responses(entries, prefers(req, "representation"))})
	return nil
}

// atomically applies all entries or none.
func (r *Receiver) atomically(entries []*entry) *refusal {
	var undo []func()
	wrote := len(r.journal)
	refused := r.apply(entries, &undo)
	if refused != nil {
		for i := len(undo) - 1; i >= 0; i-- {
			undo[i]()
		}
		r.journal = r.journal[:wrote]
		r.keepBefore(entries, refused)
	}
	return refused
}

// The statuses of entries, as the real server spells them.
const (
	statusOK      = "200 OK"
	statusCreated = "201 Created"
	// There is no content after a DELETE.
	statusNoContent = "204 No Content"
)

// responses has the shape of the real server: a relative location with version,
// and a bare version as etag.
func (r *Receiver) responses(entries []*entry, whole bool) []any {
	out := make([]any, 0, len(entries))
	for _, e := range entries {
		if e.refused != nil {
			out = append(out, map[string]any{"response": map[string]any{
				"status": strconv.Itoa(e.refused.status) + " " + http.StatusText(e.refused.status), "outcome": e.refused.outcome()}})
			continue
		}
		if e.method == http.MethodDelete {
			out = append(out, map[string]any{"response": map[string]any{"status": e.status}})
			continue
		}
		v := strconv.Itoa(e.version)
		one := map[string]any{"response": map[string]any{
			"status": e.status, "location": e.kind + "/" + e.stored + "/_history/" + v, "etag": v}}
		if stands, ok := r.types[e.kind].current(e.stored); ok && whole {
			one["resource"] = stands.raw
		}
		out = append(out, one)
	}
	return out
}

// readEntries checks the frame before anything is touched.
func (r *Receiver) readEntries(list []any) ([]*entry, *refusal) {
	var all []*entry
	urls, targets := map[string]bool{}, map[string]bool{}
	for i, one := range list {
		place := fmt.Sprintf("Bundle.entry[%d]", i)
		e, refused := r.readEntry(one, place)
		if refused != nil {
			refused.place = place
			return nil, refused
		}
		if e.fullURL != "" && urls[e.fullURL] {
			return nil, &refusal{http.StatusBadRequest, "duplicate", "the same fullUrl twice", place}
		}
		// The same identity twice would make the outcome depend on the order.
		what := e.kind + "?" + e.condition + e.where + "/" + e.id
		if (e.condition != "" || e.where != "" || e.id != "") && targets[what] {
			return nil, &refusal{http.StatusBadRequest, "duplicate", "the same identity twice", place}
		}
		urls[e.fullURL], targets[what] = true, true
		all = append(all, e)
	}
	return all, nil
}

func (r *Receiver) readEntry(one any, place string) (*entry, *refusal) {
	o, _ := one.(map[string]any)
	request, ok := o["request"].(map[string]any)
	if !ok {
		return nil, bad("an entry without request")
	}
	e := &entry{place: place}
	e.fullURL, _ = o["fullUrl"].(string)
	e.tree, _ = o["resource"].(map[string]any)
	e.method, _ = request["method"].(string)
	e.when, _ = request["ifMatch"].(string)
	condition, conditional := request["ifNoneExist"].(string)
	target, _ := request["url"].(string)
	e.kind, e.condition = target, condition
	switch {
	case e.method == http.MethodDelete && r.shape.Deletes:
		var ok bool
		if e.kind, e.id, ok = literal(target); !ok || e.tree != nil {
			return nil, bad("the url of a DELETE is Type/id, and it has no resource")
		}
		if kinds[e.kind].name == "" {
			return nil, notFound("unknown resource type")
		}
		return e, nil
	case e.method != http.MethodPost && e.method != http.MethodPut:
		return nil, &refusal{http.StatusMethodNotAllowed, "not-supported", "only POST and PUT entries are taken", place}
	case conditional && condition == "":
		// The real server takes this for an unconditional create, which doubles.
		return nil, bad("an empty ifNoneExist")
	case e.method == http.MethodPut && strings.Contains(target, "?") && r.shape.ConditionalUpdate:
		e.kind, e.where, _ = strings.Cut(target, "?")
	case e.method == http.MethodPut && strings.Contains(target, "?"):
		return nil, &refusal{http.StatusMethodNotAllowed, "not-supported", "conditional updates double under races and are not offered", place}
	case e.method == http.MethodPut:
		var ok bool
		if e.kind, e.id, ok = literal(target); !ok {
			return nil, bad("the url of a PUT is Type/id")
		}
	}
	if kinds[e.kind].name == "" {
		return nil, notFound("unknown resource type")
	}
	if e.tree["resourceType"] != e.kind {
		return nil, bad("the resource is of another type than the url")
	}
	return e, nil
}

// apply gives every entry its id, exchanges the references, then writes. Nothing
// is written before all references are literal: a conditional one finds what was
// there before, or what is created under the same condition.
func (r *Receiver) apply(entries []*entry, undo *[]func()) *refusal {
	to := links{map[string]string{}, map[string]string{}}
	for _, e := range entries {
		if refused := r.identify(e); refused != nil {
			return e.blame(refused)
		}
		to.add(e)
	}
	for _, e := range entries {
		if e.writes() {
			if refused := r.prepare(e, to); refused != nil {
				return e.blame(refused)
			}
		}
	}
	for _, e := range entries {
		if e.writes() {
			r.put(e, undo)
		}
	}
	for _, e := range entries {
		if e.writes() {
			if refused := r.checkWritten(e); refused != nil {
				return e.blame(refused)
			}
		}
	}
	return r.deleteAll(entries)
}

// writes: what matched is left as it is, and deletes come last.
func (e *entry) writes() bool {
	return e.method != http.MethodDelete && (e.method != http.MethodPost || e.status == statusCreated)
}

// add lets references lead to an entry.
func (l links) add(e *entry) {
	place := e.kind + "/" + e.stored
	if e.fullURL != "" {
		l.urls[e.fullURL] = place
	}
	if e.condition != "" {
		l.conditions[e.kind+"?"+e.condition] = place
	}
}

// prepare makes the references of an entry literal and checks its content.
func (r *Receiver) prepare(e *entry, to links) *refusal {
	tree, refused := r.linked(e.tree, to)
	if refused != nil {
		return refused
	}
	e.ready = tree
	if r.shape.Lenient {
		return nil
	}
	return checkResource(tree)
}

// put stores an entry, unless it changes nothing and the shape has eyes for that.
func (r *Receiver) put(e *entry, undo *[]func()) {
	if v, ok := r.types[e.kind].current(e.stored); ok && r.shape.KeepsVersion && sameContent(v.tree(), e.ready) {
		e.version = v.number
		return
	}
	e.version = r.store(e.kind, e.stored, e.method, e.ready, undo)
	r.raced(e)
}

// blame says which entry is at fault.
func (e *entry) blame(why *refusal) *refusal {
	if e.place == "" {
		return why // a single write: the path begins with the type
	}
	if why.place == "" {
		why.place = e.place
	} else if !strings.HasPrefix(why.place, "Bundle") {
		why.place = e.place + ".resource." + strings.TrimPrefix(why.place, e.kind+".")
	}
	return why
}

// identify decides between create, match and update.
func (r *Receiver) identify(e *entry) *refusal {
	c := r.types[e.kind]
	if e.where != "" {
		return r.identifyWhere(e)
	}
	switch e.method {
	case http.MethodPut:
		return r.identifyPut(c, e)
	case http.MethodDelete:
		e.stored, e.status = e.id, statusNoContent
		return nil
	}
	if refused := r.shape.condition(e); refused != nil {
		return refused
	}
	e.status = statusCreated
	if e.condition != "" {
		ids, refused := r.matchCondition(e)
		if refused != nil {
			return refused
		}
		if len(ids) > 1 {
			return &refusal{status: http.StatusPreconditionFailed, code: "multiple-matches", text: "multiple matches for ifNoneExist"}
		}
		if len(ids) == 1 {
			if lost := r.loses(e.kind + "?" + e.condition); lost != nil {
				return lost
			}
			v, _ := c.current(ids[0])
			e.stored, e.version, e.status = ids[0], v.number, statusOK
			return nil
		}
	}
	e.stored = r.newID()
	return nil
}

func (r *Receiver) newID() string {
	r.lastID++
	return strconv.Itoa(1000 + r.lastID)
}

func (r *Receiver) matchCondition(e *entry) ([]string, *refusal) {
	if strings.Contains(e.condition, "?") {
		return nil, bad("ifNoneExist holds the query only")
	}
	form, err := url.ParseQuery(e.condition)
	if err != nil || len(form) == 0 {
		return nil, bad("ifNoneExist cannot be read")
	}
	return r.matching(e.kind, form)
}

func (r *Receiver) identifyPut(c *collection, e *entry) *refusal {
	if id, _ := e.tree["id"].(string); id != e.id {
		return bad("the id in the resource is missing or another than in the url")
	}
	v, exists := c.current(e.id)
	e.stored, e.status = e.id, statusOK
	if !exists {
		if r.shape.NoClientIDs {
			return notOffered()
		}
		if !validID(e.id) {
			return bad("this is no id")
		}
		if strings.Trim(e.id, "0123456789") == "" && len(c.items[e.id]) == 0 {
			return bad("an id of the client must not be all digits")
		}
		if e.when != "" {
			return r.shape.stale("ifMatch on a resource that does not exist")
		}
		e.status = statusCreated
		return nil
	}
	if lost := r.loses(e.kind + "/" + e.id); lost != nil {
		return lost
	}
	if e.when != "" && !r.shape.IgnoresVersions && e.when != `W/"`+strconv.Itoa(v.number)+`"` {
		return r.shape.stale("this is not the current version")
	}
	return nil
}

// store writes one version. An identical update makes a new version too: three
// of four known servers do, and a sender that repeats itself shall be seen.
func (r *Receiver) store(kind, id, method string, tree map[string]any, undo *[]func()) int {
	c, at := r.types[kind], r.now()
	number := len(c.items[id]) + 1
	tree = stamped(tree, id, number, at)
	raw := encode(tree)
	*undo = append(*undo, r.refer(c, id, tree), c.push(id, version{number: number, method: method, at: at, raw: raw}, tree))
	r.journal = append(r.journal, Write{kind, id, number, at, raw})
	return number
}

// checkWritten looks at what only the whole transaction can show: that the
// condition of a create finds what it created, and that every literal reference
// leads somewhere.
func (r *Receiver) checkWritten(e *entry) *refusal {
	if r.shape.Lenient {
		return nil
	}
	if condition := e.condition + e.where; condition != "" && !e.overlooked {
		form, _ := url.ParseQuery(condition) // it was read before
		ids, refused := r.matching(e.kind, form)
		if refused != nil {
			return refused
		}
		if len(ids) != 1 || ids[0] != e.stored {
			return e.unmatched()
		}
	}
	return r.checkTargets(e.ready)
}

// unmatched is the answer to a resource that its own condition does not find.
func (e *entry) unmatched() *refusal {
	why := bad("the resource is not matched by its own condition")
	if e.place != "" { // in a transaction, as the real server has it
		why.status = http.StatusPreconditionFailed
	}
	return why
}
