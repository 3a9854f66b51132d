package fhirserver

import (
	"context"
	"net/http"
	"net/url"
)

// Transaction posts a Bundle of type transaction. Preferring a minimal answer
// spares the target from sending back what we have just sent.
func (c *Client) Transaction(ctx context.Context, bundle []byte) Answer {
	return c.do(ctx, request{method: http.MethodPost, body: bundle, contentType: mediaType,
		header: map[string]string{"Prefer": "return=minimal"}})
}

// Read gets one resource by its id on the target, past any cache.
func (c *Client) Read(ctx context.Context, resourceType, id string) Answer {
	return c.do(ctx, request{method: http.MethodGet, path: resourceType + "/" + url.PathEscape(id), header: noCache()})
}

// ReadVersion gets one version of a resource.
func (c *Client) ReadVersion(ctx context.Context, resourceType, id, version string) Answer {
	return c.do(ctx, request{method: http.MethodGet,
		path: resourceType + "/" + url.PathEscape(id) + "/_history/" + url.PathEscape(version), header: noCache()})
}

// Metadata gets the CapabilityStatement.
func (c *Client) Metadata(ctx context.Context) Answer {
	return c.do(ctx, request{method: http.MethodGet, path: "metadata"})
}

// noCache keeps servers from answering out of a search cache: one known server
// reuses results for 60 s unless told not to.
func noCache() map[string]string { return map[string]string{"Cache-Control": "no-cache"} }
