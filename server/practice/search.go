package practice

import (
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Page sizes of the real server: 10 unless asked, and never more than 50.
const (
	defaultPage = 10
	largestPage = 50
)

func (r *Receiver) postSearch(w http.ResponseWriter, req *http.Request, kind string) *refusal {
	media, _, err := mime.ParseMediaType(req.Header.Get("Content-Type"))
	if err != nil || media != "application/x-www-form-urlencoded" {
		return &refusal{status: http.StatusUnsupportedMediaType, code: "not-supported", text: "send a form"}
	}
	raw, err := io.ReadAll(http.MaxBytesReader(w, req.Body, 1<<20))
	if err != nil {
		return &refusal{status: http.StatusRequestEntityTooLarge, code: "too-long", text: "the form is too large"}
	}
	form, err := url.ParseQuery(string(raw))
	if err != nil {
		return bad("the form cannot be read")
	}
	return r.search(w, req, kind, form)
}

// search answers one page. Every parameter has to match; a parameter that is
// not known is refused, as a server that ignored it would return everything.
func (r *Receiver) search(w http.ResponseWriter, req *http.Request, kind string, form url.Values) *refusal {
	ids, refused := r.found(req, kind, form)
	if refused != nil {
		return refused
	}
	count, offset := defaultPage, 0
	if n, err := strconv.Atoi(form.Get("_count")); err == nil && n > 0 {
		count = min(n, largestPage)
	}
	if n, err := strconv.Atoi(form.Get("_offset")); err == nil && n > 0 {
		offset = min(n, len(ids))
	}
	page := ids[offset:min(offset+count, len(ids))]
	entries := make([]any, 0, len(page))
	for _, id := range page {
		v, _ := r.types[kind].current(id)
		entries = append(entries, map[string]any{"fullUrl": r.url(req, kind+"/"+id), "resource": v.raw, "search": map[string]any{"mode": "match"}})
	}
	links := []any{}
	if offset+count < len(ids) {
		next := url.Values{}
		for k, v := range form {
			next[k] = v
		}
		next.Set("_offset", strconv.Itoa(offset+count))
		links = append(links, map[string]any{"relation": "next", "url": r.url(req, kind) + "?" + next.Encode()})
	}
	bundle := map[string]any{"resourceType": "Bundle", "type": "searchset", "link": links}
	if len(entries) > 0 { // FHIR has no empty arrays
		bundle["entry"] = entries
	}
	if len(links) == 0 {
		delete(bundle, "link")
	}
	answer(w, http.StatusOK, bundle)
	return nil
}

func (r *Receiver) url(req *http.Request, path string) string {
	scheme := "http"
	if req.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + req.Host + r.base + "/" + path
}

// matching returns the ids that meet every parameter, in order of creation.
func (r *Receiver) matching(kind string, form url.Values) ([]string, *refusal) {
	c := r.types[kind]
	ids, narrowed := c.ids, false
	for param, values := range form {
		if param == "_count" || param == "_offset" {
			continue
		}
		for _, text := range values {
			some, refused := r.byParam(c, param, text)
			if refused != nil {
				return nil, refused
			}
			if !narrowed {
				ids, narrowed = some, true
				continue
			}
			ids = slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return !slices.Contains(some, id) })
		}
	}
	return ids, nil
}

func (r *Receiver) byParam(c *collection, param, text string) ([]string, *refusal) {
	switch {
	case param == "identifier" && kinds[c.name].identifierSearch, param == "_tag":
		tokens, refused := parseTokens(text)
		if refused != nil {
			return nil, refused
		}
		return c.withToken(param, tokens), nil
	case param == "_id":
		var some []string
		for _, id := range splitUnescaped(text, ',') {
			if _, ok := c.current(id); ok {
				some = append(some, id)
			}
		}
		return some, nil
	case (param == "subject" || param == "patient") && kinds[c.name].patient != "":
		return r.ofPatient(c, text), nil
	}
	return nil, bad(c.name + " does not have a search parameter with the name " + safeName(param))
}

// ofPatient walks the type: only people who look around ask this.
func (r *Receiver) ofPatient(c *collection, text string) []string {
	if !strings.Contains(text, "/") {
		text = "Patient/" + text
	}
	var some []string
	for _, id := range c.ids {
		v, _ := c.current(id)
		subject, _ := v.tree()[kinds[c.name].patient].(map[string]any)
		if subject["reference"] == text {
			some = append(some, id)
		}
	}
	return some
}

// safeName keeps a parameter's name, which is input, from carrying anything.
func safeName(s string) string {
	if len(s) > 40 || strings.ContainsFunc(s, func(c rune) bool {
		return !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '-' || c == '_' || c == ':')
	}) {
		return "given"
	}
	return s
}
