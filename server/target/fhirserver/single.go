package fhirserver

import (
	"context"
	"net/http"
	"net/url"

	"enbloc/server/target"
)

// Create posts one resource. A condition other than "" goes as If-None-Exist
// (http://hl7.org/fhir/R4/http.html#ccreate); a target that does not know the
// header may ignore it, so it is no proof that there is no double.
func (c *Client) Create(ctx context.Context, resourceType string, body []byte, condition string) Answer {
	r := request{method: http.MethodPost, path: resourceType, body: body, contentType: mediaType, header: map[string]string{"Prefer": "return=minimal"}}
	if condition != "" {
		r.header["If-None-Exist"] = condition
	}
	return c.do(ctx, r)
}

// Update puts one resource under an id. A version other than "" goes as
// If-Match; without one the update is blind.
func (c *Client) Update(ctx context.Context, resourceType, id string, body []byte, version string) Answer {
	r := request{method: http.MethodPut, path: resourceType + "/" + url.PathEscape(id), body: body, contentType: mediaType,
		header: map[string]string{"Prefer": "return=minimal"}}
	if version != "" {
		r.header["If-Match"] = ETag(version)
	}
	return c.do(ctx, r)
}

// UpdateWhere puts one resource where a condition matches
// (http://hl7.org/fhir/R4/http.html#cond-update). Measured: two of four servers
// double under parallel senders and two ignore If-Match on it.
func (c *Client) UpdateWhere(ctx context.Context, resourceType, condition string, body []byte) Answer {
	return c.do(ctx, request{method: http.MethodPut, path: resourceType, query: condition, body: body, contentType: mediaType,
		header: map[string]string{"Prefer": "return=minimal"}})
}

// Delete removes one resource. Delivery never does; a check that cleans up
// after itself does.
func (c *Client) Delete(ctx context.Context, resourceType, id string) Answer {
	return c.do(ctx, request{method: http.MethodDelete, path: resourceType + "/" + url.PathEscape(id)})
}

// Operation posts a resource to an operation of a type, such as "$validate".
func (c *Client) Operation(ctx context.Context, resourceType, name string, body []byte) Answer {
	return c.do(ctx, request{method: http.MethodPost, path: resourceType + "/" + name, body: body, contentType: mediaType})
}

// WellKnown gets a document below /.well-known/ of the base.
func (c *Client) WellKnown(ctx context.Context, name string) Answer {
	return c.do(ctx, request{method: http.MethodGet, path: ".well-known/" + name, header: map[string]string{"Accept": "application/json"}})
}

// ReadSingle reads the answer to one create or update in the shape of an entry
// of a transaction: the place from Location or body, the version from ETag,
// Location or body, whichever is there.
func ReadSingle(a Answer) EntryResult {
	e := EntryResult{Status: a.Status, Issues: target.ReadIssues(a.Body)}
	for _, name := range []string{"Location", "Content-Location"} {
		if e.ID == "" {
			e.Type, e.ID, e.Version = location(a.Header.Get(name))
		}
	}
	if m, err := ReadMeta(a.Body); err == nil && m.Type != "OperationOutcome" {
		if e.ID == "" {
			e.Type, e.ID = m.Type, m.ID
		}
		if e.Version == "" {
			e.Version = m.Version
		}
	}
	if v := ETagVersion(a.Header.Get("ETag")); v != "" {
		e.Version = v
	}
	return e
}

// Condition is a search condition for If-None-Exist, with the value escaped for
// FHIR and then percent-encoded: unescaped values were answered 400 and 412.
func Condition(param, system, value string) string {
	return param + "=" + url.QueryEscape(Token(system, value))
}
