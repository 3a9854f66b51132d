package practice

import (
	"net/http"
	"strconv"
	"strings"
)

// create and update are the single writes: the way of targets without
// transactions.
func (r *Receiver) create(w http.ResponseWriter, req *http.Request, kind string) *refusal {
	e := &entry{kind: kind, method: http.MethodPost, condition: req.Header.Get("If-None-Exist")}
	return r.single(w, req, e)
}

func (r *Receiver) update(w http.ResponseWriter, req *http.Request, kind, id string) *refusal {
	e := &entry{kind: kind, method: http.MethodPut, id: id, when: req.Header.Get("If-Match")}
	return r.single(w, req, e)
}

func (r *Receiver) single(w http.ResponseWriter, req *http.Request, e *entry) *refusal {
	var refused *refusal
	if e.tree, refused = readBody(w, req); refused != nil {
		return refused
	}
	if e.tree["resourceType"] != e.kind {
		return bad("the resource is of another type than the url")
	}
	if refused := r.atomically([]*entry{e}); refused != nil {
		return refused
	}
	number := strconv.Itoa(e.version)
	w.Header().Set("Location", r.url(req, e.kind+"/"+e.stored+"/_history/"+number))
	w.Header().Set("ETag", `W/"`+number+`"`)
	v, _ := r.types[e.kind].current(e.stored)
	status := http.StatusCreated
	if e.status == statusOK {
		status = http.StatusOK
	}
	switch {
	case prefers(req, "minimal"):
		w.WriteHeader(status)
	case prefers(req, "OperationOutcome"):
		answer(w, status, map[string]any{"resourceType": "OperationOutcome", "issue": []any{
			map[string]any{"severity": "information", "code": "informational", "diagnostics": "stored as version " + number}}})
	default:
		answer(w, status, v.raw)
	}
	return nil
}

// prefers reports what a request wants to hear of a write
// (http://hl7.org/fhir/R4/http.html#ops).
func prefers(req *http.Request, what string) bool {
	return strings.Contains(req.Header.Get("Prefer"), "return="+what)
}
