package practice

import (
	"net/http"
	"net/url"
	"strings"
	"time"
)

// Shape makes the receiver like a server that can do less, so that every way of
// writing can be practised. The zero Shape can do all but conditional updates
// and deletes.
type Shape struct {
	// NoTransaction: a transaction is answered 405.
	NoTransaction bool
	// MostEntries: a transaction with more entries is answered 413; 0: any number.
	MostEntries int
	// NoConditionalCreate: a create with a condition is answered 412, as R4 asks
	// of a server that does not support it (http://hl7.org/fhir/R4/http.html#ccreate).
	NoConditionalCreate bool
	// IgnoresConditions: the condition of a create is not looked at, so that
	// every repetition makes a double; worse than NoConditionalCreate, and met.
	IgnoresConditions bool
	// IgnoresVersions: If-Match is not looked at.
	IgnoresVersions bool
	// NoClientIDs: a PUT to an id that does not exist is answered 405.
	NoClientIDs bool
	// ConditionalUpdate: PUT Type?condition is taken, single and in a transaction.
	ConditionalUpdate bool
	// NotAtomic: a transaction stops at its first bad entry and keeps the rest.
	NotAtomic bool
	// Deletes: DELETE is taken, of what nothing refers to.
	Deletes bool
	// OnlyDocuments: of all types only a DocumentReference can be created;
	// nothing can be updated.
	OnlyDocuments bool
	// EntryByEntry: a transaction is answered 200 whatever its entries say, and
	// each entry stands or fails alone.
	EntryByEntry bool
	// Lenient: required elements, codes and the ends of references are not
	// checked, and a condition need not match its own resource.
	Lenient bool
	// Stale is the status of a lost race: 409, 400 or, when 0, 412.
	Stale int
	// KeepsVersion: an update that changes nothing makes no new version.
	KeepsVersion bool
	// NoPostSearch: a search by POST is answered 400.
	NoPostSearch bool
	// Later: a write is answered 202 and done so much later; its outcome is told at
	// the Content-Location. 0: at once.
	Later time.Duration
	// Racy: writes that are under way at once and want the same may lose with 409,
	// and of conditional updates one may make a double. Seed draws which.
	Racy bool
	Seed uint64
	// LateSearch: a search is answered with what the same search found up to so long
	// ago, unless the request says Cache-Control: no-cache. 0: never.
	LateSearch time.Duration
	// ReadOnly: nothing can be written.
	ReadOnly bool
	// Claims: the CapabilityStatement says that all of it works.
	Claims bool
}

// Shape sets what the receiver can do from now on.
func (r *Receiver) Shape(s Shape) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.shape = s
	r.countReferences()
	r.race, r.searches = nil, map[string]remembered{}
	if s.Racy {
		r.race = newRace(s.Seed)
	}
}

// refuses says whether the shape forbids an interaction.
func (s Shape) refuses(req *http.Request, parts []string) *refusal {
	search := len(parts) == 2 && parts[1] == "_search"
	switch {
	case search && s.NoPostSearch:
		return bad("a search is a GET here")
	case search, req.Method == http.MethodGet:
		return nil
	}
	transaction := len(parts) == 1 && parts[0] == ""
	document := req.Method == http.MethodPost && parts[0] == "DocumentReference"
	switch {
	case s.ReadOnly, s.OnlyDocuments && !document, s.NoTransaction && transaction:
		return notOffered()
	}
	return nil
}

func notOffered() *refusal {
	return &refusal{status: http.StatusMethodNotAllowed, code: "not-supported", text: "this interaction is not offered"}
}

// stale is the answer to a lost race.
func (s Shape) stale(text string) *refusal {
	status := s.Stale
	if status == 0 {
		status = http.StatusPreconditionFailed
	}
	return &refusal{status: status, code: "conflict", text: text}
}

// condition applies the shape to the condition of a create.
func (s Shape) condition(e *entry) *refusal {
	switch {
	case e.method != http.MethodPost || e.condition == "":
	case s.NoConditionalCreate:
		return &refusal{status: http.StatusPreconditionFailed, code: "not-supported", text: "conditional create is not supported"}
	case s.IgnoresConditions:
		e.condition = ""
	}
	return nil
}

// keepBefore stores what came before the entry at fault, when the shape is not
// all or nothing.
func (r *Receiver) keepBefore(entries []*entry, refused *refusal) {
	if !r.shape.NotAtomic {
		return
	}
	for i, e := range entries {
		if strings.HasPrefix(refused.place, e.place) && e.place != "" {
			var undo []func()
			_ = r.apply(entries[:i], &undo) // what fails now fails for a link to what was cut off
			return
		}
	}
}

// updateWhere is PUT Type?condition outside a transaction.
func (r *Receiver) updateWhere(w http.ResponseWriter, req *http.Request, kind string) *refusal {
	if !r.shape.ConditionalUpdate {
		return notOffered()
	}
	return r.single(w, req, &entry{kind: kind, method: http.MethodPut, where: req.URL.RawQuery})
}

// identifyWhere decides what a conditional update means
// (http://hl7.org/fhir/R4/http.html#cond-update): no match creates, one is
// updated, more are refused.
func (r *Receiver) identifyWhere(e *entry) *refusal {
	form, err := url.ParseQuery(e.where)
	if err != nil || len(form) == 0 {
		return bad("the condition of the update cannot be read")
	}
	ids, refused := r.matching(e.kind, form)
	key := e.kind + "?" + e.where
	if r.overlooks(key) {
		ids, e.overlooked = nil, true
	} else if lost := r.loses(key); lost != nil && refused == nil {
		return lost
	}
	switch {
	case refused != nil:
		return refused
	case len(ids) > 1:
		return &refusal{status: http.StatusPreconditionFailed, code: "multiple-matches", text: "multiple matches for a conditional update"}
	case len(ids) == 1:
		e.stored, e.status = ids[0], statusOK
		return nil
	}
	e.stored, e.status = r.newID(), statusCreated
	return nil
}
