package fhirserver

import (
	"encoding/json"
	"errors"
	"strconv"
	"strings"

	"enbloc/server/target"
)

// EntryResult is what a target said about one entry of a transaction.
type EntryResult struct {
	// Status is the entry's own HTTP status; 0 when it had none.
	Status int
	// Type, ID and Version are empty where the target did not say.
	Type, ID, Version string
	Issues            target.Issues
}

// location reads the end of a relative or an absolute location, with or without
// version (http://hl7.org/fhir/R4/http.html#create): Type/id or
// Type/id/_history/version. All are empty when it is none. A case has a hundred of
// them, for which a regular expression takes a noticeable while.
func location(text string) (kind, id, version string) {
	rest, last := lastStep(strings.TrimSuffix(text, "/"))
	if before, history := lastStep(rest); history == "_history" {
		version = last
		rest, last = lastStep(before)
		if !ValidID(version) {
			return "", "", ""
		}
	}
	if _, kind = lastStep(rest); !isType(kind) || !ValidID(last) {
		return "", "", ""
	}
	return kind, last, version
}

// lastStep parts the last step of a path from the rest.
func lastStep(path string) (rest, step string) {
	i := strings.LastIndexByte(path, '/')
	return path[:max(i, 0)], path[i+1:]
}

// ValidID is the FHIR R4 id (http://hl7.org/fhir/R4/datatypes.html#id). An id
// comes from the target and goes into bundles and paths, so it is checked.
func ValidID(id string) bool {
	if id == "" || len(id) > 64 {
		return false
	}
	for _, c := range []byte(id) {
		if !(c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' || c == '.') {
			return false
		}
	}
	return true
}

func isType(s string) bool {
	return len(s) > 1 && s[0] >= 'A' && s[0] <= 'Z' && strings.IndexFunc(s, func(c rune) bool { return !isLetter(c) }) < 0
}

func isLetter(c rune) bool { return c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' }

// ReadTransaction reads the answer to a transaction, leniently, entry by entry.
// It may hold fewer entries than were sent: pair by position only when the
// numbers agree. The error is non-nil when the body is no Bundle at all.
func ReadTransaction(body []byte) ([]EntryResult, error) {
	var b struct {
		ResourceType string `json:"resourceType"`
		Entry        []struct {
			Resource json.RawMessage `json:"resource"`
			Response struct {
				Status   string          `json:"status"`
				Location string          `json:"location"`
				Etag     string          `json:"etag"`
				Outcome  json.RawMessage `json:"outcome"`
			} `json:"response"`
		} `json:"entry"`
	}
	if json.Unmarshal(body, &b) != nil || b.ResourceType != "Bundle" {
		return nil, errors.New("reading transaction answer: it is no Bundle")
	}
	all := make([]EntryResult, len(b.Entry))
	for i, e := range b.Entry {
		r := &all[i]
		status, _, _ := strings.Cut(strings.TrimSpace(e.Response.Status), " ")
		r.Status, _ = strconv.Atoi(status)
		if len(e.Response.Outcome) > 0 {
			r.Issues = target.ReadIssues(e.Response.Outcome)
		}
		r.Type, r.ID, r.Version = location(e.Response.Location)
		if r.ID == "" && len(e.Resource) > 0 {
			if m, err := ReadMeta(e.Resource); err == nil && m.Type != "OperationOutcome" {
				r.Type, r.ID, r.Version = m.Type, m.ID, m.Version
			}
		}
		if v := ETagVersion(e.Response.Etag); v != "" {
			r.Version = v
		}
	}
	return all, nil
}

// ETagVersion takes the version out of an entity tag in any of the shapes met:
// W/"1", "1", 1.
func ETagVersion(tag string) string {
	return strings.Trim(strings.TrimPrefix(strings.TrimSpace(tag), "W/"), `"`)
}

// ETag spells a version as FHIR wants it in ifMatch; one server refuses a bare
// version, all accept this.
func ETag(version string) string { return `W/"` + version + `"` }
