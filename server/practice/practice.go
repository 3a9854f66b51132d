// Package practice is a FHIR R4 server for practising: it lives in the process,
// keeps what it gets in memory until the process ends, and says in every answer
// that it is for practice only.
//
// It speaks the calls that delivery uses (metadata, transaction, read, version
// read, search by identifier and tag) and a few for people who look around:
// instance history, search by id and patient, single create and update. It is meant to be no kinder than a real server: a transaction is all
// or nothing, conditions and references are checked strictly, and where known
// servers disagree it takes the stricter side. A test asks it and a real server
// the same questions and names every difference.
package practice

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"
	"sync"
	"time"
)

// Header and notice stand in every answer.
const (
	Header = "X-Practice-Receiver"
	Notice = "practice only, keeps nothing beyond this run"
)

const (
	mediaType = "application/fhir+json"
	// largestBody bounds one request; the real server that this one is compared
	// with took 60 MB.
	largestBody = 64 << 20
)

// Receiver is one practice server. Make it with New; it is an http.Handler and
// safe for concurrent use. Requests are served one after the other.
type Receiver struct {
	base string
	now  func() time.Time

	mu      sync.Mutex
	types   map[string]*collection
	lastID  int
	journal []Write
	shape   Shape
	spoiler *Spoiler
	// incoming counts the references to each Type/id, where something can be
	// deleted; see countReferences.
	incoming map[string]int
	// race is there where requests meet, since is when the one that is served came.
	race  *race
	since int
	// searches are what LateSearch answers from.
	searches map[string]remembered
	// jobs are the writes that were accepted to be done later; see Shape.Later.
	jobs []*job
}

// Write is one line of the receiver's own journal, for checkers: what was
// stored, in the order in which it was stored.
type Write struct {
	Type, ID string
	Version  int
	At       time.Time
	// Body is what was stored. It is shared: do not change it.
	Body json.RawMessage
}

// New returns an empty receiver for requests below a path such as "/fhir"; an
// empty path means the root.
func New(basePath string) *Receiver {
	r := &Receiver{base: strings.TrimRight(basePath, "/"), now: time.Now, types: map[string]*collection{}}
	for name := range kinds {
		r.types[name] = newCollection(name)
	}
	r.spoiler = NewSpoiler(http.HandlerFunc(r.serve))
	return r
}

// ServeHTTP implements http.Handler.
func (r *Receiver) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	w.Header().Set(Header, Notice)
	if id := req.Header.Get("X-Request-Id"); id != "" && len(id) <= 100 {
		w.Header().Set("X-Request-Id", id)
	}
	r.spoiler.ServeHTTP(w, req)
}

// serve answers without faults.
func (r *Receiver) serve(w http.ResponseWriter, req *http.Request) {
	path, ok := strings.CutPrefix(req.URL.Path, r.base)
	if !ok {
		answerError(w, notFound("there is nothing at this address"))
		return
	}
	if r.accepted(w, req, path) {
		return
	}
	r.atOnce(w, req, path)
}

// atOnce answers at once.
func (r *Receiver) atOnce(w http.ResponseWriter, req *http.Request, path string) {
	since := r.arrive(req)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.since = since
	if err := r.route(w, req, parts(path)); err != nil {
		answerError(w, err)
	}
}

func parts(path string) []string { return strings.Split(strings.Trim(path, "/"), "/") }

// route finds the interaction (http://hl7.org/fhir/R4/http.html). Whatever this
// package does not speak is 404 or 405, so that a caller learns of it.
func (r *Receiver) route(w http.ResponseWriter, req *http.Request, parts []string) *refusal {
	get, post := req.Method == http.MethodGet, req.Method == http.MethodPost
	if refused := r.shape.refuses(req, parts); refused != nil {
		return refused
	}
	switch {
	case len(parts) == 1 && parts[0] == "" && post:
		return r.transaction(w, req)
	case len(parts) == 1 && parts[0] == "metadata" && get:
		return r.metadata(w, req)
	case len(parts) == 2 && parts[0] == jobPath && get:
		return r.told(w, parts[1])
	case parts[0] == "" || strings.HasPrefix(parts[0], "$"):
		return notOffered()
	case r.types[parts[0]] == nil:
		return notFound("unknown resource type")
	case len(parts) == 1 && get:
		return r.search(w, req, parts[0], req.URL.Query())
	case len(parts) == 1 && post:
		return r.create(w, req, parts[0])
	case len(parts) == 2 && parts[1] == "_search" && post:
		return r.postSearch(w, req, parts[0])
	case len(parts) == 1 && req.Method == http.MethodPut:
		return r.updateWhere(w, req, parts[0])
	case len(parts) == 2 && req.Method == http.MethodDelete:
		return r.delete(w, parts[0], parts[1])
	case len(parts) == 2 && req.Method == http.MethodPut:
		return r.update(w, req, parts[0], parts[1])
	case len(parts) == 2 && get:
		return r.read(w, parts[0], parts[1])
	case len(parts) == 3 && parts[2] == "_history" && get:
		return r.history(w, req, parts[0], parts[1])
	case len(parts) == 4 && parts[2] == "_history" && get:
		return r.vread(w, parts[0], parts[1], parts[3])
	}
	return notOffered()
}

// refusal is an answer that is not success.
type refusal struct {
	status     int
	code, text string
	// place is the FHIRPath of what is refused; may be empty.
	place string
}

func notFound(text string) *refusal {
	return &refusal{status: http.StatusNotFound, code: "not-found", text: text}
}

func bad(text string) *refusal {
	return &refusal{status: http.StatusBadRequest, code: "processing", text: text}
}

func answerError(w http.ResponseWriter, e *refusal) { answer(w, e.status, e.outcome()) }

// outcome is the refusal as an OperationOutcome.
func (e *refusal) outcome() map[string]any {
	issue := map[string]any{"severity": "error", "code": e.code, "diagnostics": e.text}
	if e.place != "" {
		issue["expression"] = []string{e.place}
	}
	return map[string]any{"resourceType": "OperationOutcome", "issue": []any{issue}}
}

func answer(w http.ResponseWriter, status int, body any) {
	w.Header().Set("Content-Type", mediaType+";charset=UTF-8")
	w.WriteHeader(status)
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	_ = e.Encode(body) // the caller has gone; nobody is left to tell
}

// readBody reads a resource of the right media type, packed or not.
func readBody(w http.ResponseWriter, req *http.Request) (map[string]any, *refusal) {
	kind, _, err := mime.ParseMediaType(req.Header.Get("Content-Type"))
	if err != nil || (kind != mediaType && kind != "application/json") {
		return nil, &refusal{status: http.StatusUnsupportedMediaType, code: "not-supported", text: "send " + mediaType}
	}
	raw, err := readAll(w, req)
	if err != nil {
		return nil, &refusal{status: http.StatusRequestEntityTooLarge, code: "too-long", text: "the body is too large or broken off"}
	}
	switch req.Header.Get("Content-Encoding") {
	case "", "identity":
	case "gzip":
		if raw, err = unpack(raw); err != nil {
			return nil, &refusal{status: http.StatusBadRequest, code: "structure", text: "the body is no gzip, or too large"}
		}
	default:
		return nil, &refusal{status: http.StatusUnsupportedMediaType, code: "not-supported", text: "send the body as it is, or in gzip"}
	}
	tree, err := decode(raw)
	if err != nil {
		return nil, &refusal{status: http.StatusBadRequest, code: "structure", text: "the body is no JSON object"}
	}
	return tree, nil
}

func readAll(w http.ResponseWriter, req *http.Request) ([]byte, error) {
	return io.ReadAll(http.MaxBytesReader(w, req.Body, largestBody))
}

// detached is a request that can be carried out after its own has ended.
func detached(w http.ResponseWriter, req *http.Request) (*http.Request, error) {
	body, err := readAll(w, req)
	if err != nil {
		return nil, err
	}
	later := req.Clone(context.WithoutCancel(req.Context()))
	later.Body = io.NopCloser(bytes.NewReader(body))
	return later, nil
}

func unpack(packed []byte) ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	raw, err := io.ReadAll(io.LimitReader(r, largestBody+1))
	if err == nil && len(raw) > largestBody {
		err = errors.New("larger than a body may be")
	}
	return raw, err
}
