package practice

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// jobPath is where outcomes are told. It is no resource type.
const jobPath = "$outcome"

// job is a write that was accepted to be done later.
type job struct {
	// outcome is nil until it is done.
	outcome *held
}

// accepted takes a write to be done later and answers 202
// (https://hl7.org/fhir/R4/async.html), where the shape says so.
func (r *Receiver) accepted(w http.ResponseWriter, req *http.Request, path string) bool {
	r.mu.Lock()
	later, refused := r.shape.Later, r.shape.refuses(req, parts(path))
	r.mu.Unlock()
	if later <= 0 || refused != nil || req.Method == http.MethodGet || strings.HasSuffix(path, "/_search") || strings.Contains(path, "/$") {
		return false
	}
	copied, err := detached(w, req)
	if err != nil {
		answerError(w, &refusal{status: http.StatusRequestEntityTooLarge, code: "too-long", text: "the body is too large or broken off"})
		return true
	}
	j := &job{}
	r.mu.Lock()
	r.jobs = append(r.jobs, j)
	number := len(r.jobs)
	r.mu.Unlock()
	time.AfterFunc(later, func() {
		done := &held{header: http.Header{}, status: http.StatusOK}
		r.atOnce(done, copied, path)
		r.mu.Lock()
		defer r.mu.Unlock()
		j.outcome = done
	})
	w.Header().Set("Content-Location", r.url(req, jobPath+"/"+strconv.Itoa(number)))
	w.WriteHeader(http.StatusAccepted)
	return true
}

// told answers who asks for an outcome: 202 until it is there, then a Bundle with
// one entry (https://hl7.org/fhir/R5/async-bundle.html).
func (r *Receiver) told(w http.ResponseWriter, number string) *refusal {
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || n > len(r.jobs) {
		return notFound("there is no such request")
	}
	done := r.jobs[n-1].outcome
	if done == nil {
		w.Header().Set("Retry-After", "1")
		w.WriteHeader(http.StatusAccepted)
		return nil
	}
	response := map[string]any{"status": strconv.Itoa(done.status) + " " + http.StatusText(done.status)}
	for name, element := range map[string]string{"Location": "location", "ETag": "etag"} {
		if v := done.header.Get(name); v != "" {
			response[element] = v
		}
	}
	entry := map[string]any{"response": response}
	if body := bytes.TrimSpace(done.body.Bytes()); len(body) > 0 && done.status < http.StatusBadRequest {
		entry["resource"] = json.RawMessage(body)
	} else if len(body) > 0 {
		response["outcome"] = json.RawMessage(body)
	}
	answer(w, http.StatusOK, map[string]any{"resourceType": "Bundle", "type": "batch-response", "entry": []any{entry}})
	return nil
}
