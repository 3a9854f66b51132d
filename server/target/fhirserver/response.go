package fhirserver

import (
	"encoding/json"
	"errors"
	"regexp"
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

// location takes the end of a relative or an absolute location, with or without
// version (http://hl7.org/fhir/R4/http.html#create).
var location = regexp.MustCompile(`(?:^|/)([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})(?:/_history/([A-Za-z0-9.-]{1,64}))?/?$`)

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
		r.Issues = target.ReadIssues(e.Response.Outcome)
		if m := location.FindStringSubmatch(e.Response.Location); m != nil {
			r.Type, r.ID, r.Version = m[1], m[2], m[3]
		}
		if m, err := ReadMeta(e.Resource); err == nil && r.ID == "" && m.Type != "OperationOutcome" {
			r.Type, r.ID, r.Version = m.Type, m.ID, m.Version
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
