package practice

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
)

// entry is one entry of a transaction on its way in.
type entry struct {
	place           string // Bundle.entry[n]
	fullURL         string
	tree            map[string]any
	method, kind    string
	id              string // of a PUT
	condition, when string // ifNoneExist, ifMatch
	where           string // condition of a PUT
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
	answer(w, http.StatusOK, map[string]any{"resourceType": "Bundle", "type": "transaction-response", "entry": r.responses(entries)})
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
func (r *Receiver) responses(entries []*entry) []any {
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
		out = append(out, map[string]any{"response": map[string]any{
			"status": e.status, "location": e.kind + "/" + e.stored + "/_history/" + v, "etag": v}})
	}
	return out
}

var putURL = regexp.MustCompile(`^([A-Za-z]+)/([A-Za-z0-9.-]{1,64})$`)

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
		m := putURL.FindStringSubmatch(target)
		if m == nil || e.tree != nil {
			return nil, bad("the url of a DELETE is Type/id, and it has no resource")
		}
		if e.kind, e.id = m[1], m[2]; kinds[e.kind].name == "" {
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
		m := putURL.FindStringSubmatch(target)
		if m == nil {
			return nil, bad("the url of a PUT is Type/id")
		}
		e.kind, e.id = m[1], m[2]
	}
	if kinds[e.kind].name == "" {
		return nil, notFound("unknown resource type")
	}
	if e.tree["resourceType"] != e.kind {
		return nil, bad("the resource is of another type than the url")
	}
	return e, nil
}

// apply gives every entry its id, exchanges the references, then writes.
func (r *Receiver) apply(entries []*entry, undo *[]func()) *refusal {
	ids := map[string]string{} // fullUrl -> Type/id
	for _, e := range entries {
		if refused := r.identify(e); refused != nil {
			return e.blame(refused)
		}
		if e.fullURL != "" {
			ids[e.fullURL] = e.kind + "/" + e.stored
		}
	}
	var written []*entry
	for _, e := range entries {
		switch {
		case e.status == statusOK && e.method == http.MethodPost:
			continue // matched: nothing is written
		case e.method == http.MethodDelete:
			continue // last, when nothing can fail any more
		}
		tree, refused := r.linked(e.tree, ids)
		if refused == nil && !r.shape.Lenient {
			refused = checkResource(tree)
		}
		if refused != nil {
			return e.blame(refused)
		}
		if v, ok := r.types[e.kind].current(e.stored); ok && r.shape.KeepsVersion && sameContent(v.tree(), tree) {
			e.version = v.number
			continue
		}
		e.version = r.store(e.kind, e.stored, e.method, tree, undo)
		e.tree = tree // its references are literal now
		written = append(written, e)
	}
	for _, e := range written {
		if refused := r.checkWritten(e); refused != nil {
			return e.blame(refused)
		}
	}
	for _, e := range entries {
		if e.method == http.MethodDelete {
			r.types[e.kind].forget(e.id)
		}
	}
	return nil
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
		if strings.Trim(e.id, "0123456789") == "" {
			return bad("an id of the client must not be all digits")
		}
		if e.when != "" {
			return r.shape.stale("ifMatch on a resource that does not exist")
		}
		e.status = statusCreated
		return nil
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
	*undo = append(*undo, c.push(id, version{number, method, at, raw}, tree))
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
	if e.condition != "" {
		ids, refused := r.matchCondition(e)
		if refused != nil {
			return refused
		}
		if len(ids) != 1 || ids[0] != e.stored {
			return &refusal{status: http.StatusPreconditionFailed, code: "conflict", text: "the resource is not matched by its own condition"}
		}
	}
	return r.checkTargets(e.tree)
}
