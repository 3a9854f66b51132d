package fhirserver

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// Query is one search: a parameter and the values that any hit has one of. The
// values are spelled for FHIR already (see [Token]).
type Query struct {
	Type   string
	Param  string
	Values []string
	// Plain: the values are keys of our own making or names of standards, which say
	// nothing about anybody, so they may stand in a URL.
	Plain bool
	// Sole: only whether there is exactly one is asked, so two are enough, and the
	// server need not store the result for further pages.
	Sole bool
}

// Token spells system and value of an identifier or tag for a search: FHIR
// wants a backslash before \ $ , and | in a value
// (http://hl7.org/fhir/R4/search.html#escaping); percent-encoding comes on top,
// by this package. Measured: without the backslash a server answers 412.
func Token(system, value string) string {
	return escape.Replace(system) + "|" + escape.Replace(value)
}

var escape = strings.NewReplacer(`\`, `\\`, `$`, `\$`, `,`, `\,`, `|`, `\|`)

// pageLimit bounds how many pages are followed, and perPage what is asked for;
// some servers cap a page at 50 whatever is asked.
const (
	pageLimit = 200
	perPage   = 200
)

// Search returns the resources of q.Type that match, over all pages. The search
// goes by POST, so that no identifier stands in a URL; a target that has shown
// that it cannot is asked by GET from then on, but only where q is plain or the
// site lets identifiers stand there. The Answer is that of the last
// request; when it is not a 200 with a Bundle, hits is nil and Err may be set.
func (c *Client) Search(ctx context.Context, q Query) (hits []json.RawMessage, last Answer) {
	form := url.Values{q.Param: {strings.Join(q.Values, ",")}, "_count": {strconv.Itoa(perPage)}}
	header := noCache()
	if q.Sole {
		header["Cache-Control"] += ", no-store" // RFC 9111, 5.2.1.5; one known server gives no further pages then
	}
	last = c.searchFirst(ctx, q, form, header)
	hits = []json.RawMessage{}
	for range pageLimit {
		if last.Err != nil || last.Status != http.StatusOK {
			return nil, last
		}
		page, next, err := readPage(last.Body, q.Type)
		if err != nil {
			last.Err = err
			return nil, last
		}
		hits = append(hits, page...)
		if next == "" || q.Sole && len(hits) > 1 {
			return hits, last
		}
		if last = c.follow(ctx, next); last.Err != nil {
			return nil, last
		}
	}
	last.Err = errors.New("searching target: there are more pages than can be right")
	return nil, last
}

func (c *Client) searchFirst(ctx context.Context, q Query, form url.Values, header map[string]string) Answer {
	may := q.Plain || c.inURL
	if !may || !c.getSearch.Load() {
		a := c.do(ctx, request{method: http.MethodPost, path: q.Type + "/_search", body: []byte(form.Encode()),
			contentType: "application/x-www-form-urlencoded", header: header})
		if !may {
			return a
		}
		switch a.Status {
		// 400: a server that takes the form for a resource.
		case http.StatusBadRequest, http.StatusNotFound, http.StatusMethodNotAllowed, http.StatusUnsupportedMediaType, http.StatusNotImplemented:
		default:
			return a
		}
	}
	a := c.do(ctx, request{method: http.MethodGet, path: q.Type, query: form.Encode(), header: header})
	if a.Err == nil && a.Status == http.StatusOK {
		c.getSearch.Store(true)
	}
	return a
}

// follow gets a next page. Its address comes from the target, so it must stay
// below the base that we were configured with: credentials go nowhere else.
func (c *Client) follow(ctx context.Context, next string) Answer {
	u, err := c.base.Parse(next)
	if err != nil || !strings.EqualFold(u.Host, c.base.Host) || u.Scheme != c.base.Scheme || !below(c.base.Path, u.Path) {
		return Answer{Err: errors.New("searching target: the next page is at another address")}
	}
	return c.do(ctx, request{method: http.MethodGet, path: strings.TrimPrefix(strings.TrimPrefix(u.EscapedPath(), c.base.EscapedPath()), "/"),
		query: u.RawQuery, header: noCache()})
}

func below(base, path string) bool {
	return path == base || path == base+"/" || strings.HasPrefix(path, base+"/")
}

func readPage(body []byte, resourceType string) (hits []json.RawMessage, next string, err error) {
	var page struct {
		ResourceType string `json:"resourceType"`
		Link         []struct{ Relation, URL string }
		Entry        []struct{ Resource json.RawMessage }
	}
	if json.Unmarshal(body, &page) != nil || page.ResourceType != "Bundle" {
		return nil, "", errors.New("searching target: the answer is no Bundle")
	}
	for _, e := range page.Entry {
		// Outcomes and included resources travel in the same list.
		if m, err := ReadMeta(e.Resource); err == nil && m.Type == resourceType {
			hits = append(hits, e.Resource)
		}
	}
	for _, l := range page.Link {
		if l.Relation == "next" {
			next = l.URL
		}
	}
	return hits, next, nil
}

// Meta is what identifies a resource as a target holds it.
type Meta struct {
	Type, ID, Version string
}

// ReadMeta reads type, id and version of a resource.
func ReadMeta(resource []byte) (Meta, error) {
	var r struct {
		ResourceType string `json:"resourceType"`
		ID           string `json:"id"`
		Meta         struct {
			VersionID string `json:"versionId"`
		} `json:"meta"`
	}
	if err := json.Unmarshal(resource, &r); err != nil || r.ResourceType == "" {
		return Meta{}, errors.New("reading resource: it is not one")
	}
	return Meta{r.ResourceType, r.ID, r.Meta.VersionID}, nil
}
