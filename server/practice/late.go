package practice

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// remembered is what a search found.
type remembered struct {
	ids []string
	at  time.Time
}

// found answers a search from memory where the shape says so: what the same search
// found a while ago, less what was deleted since. Cache-Control: no-cache asks anew.
func (r *Receiver) found(req *http.Request, kind string, form url.Values) ([]string, *refusal) {
	if r.shape.LateSearch <= 0 || strings.Contains(req.Header.Get("Cache-Control"), "no-cache") {
		return r.matching(kind, form)
	}
	same := maps.Clone(form)
	delete(same, "_count")
	delete(same, "_offset")
	key, now := kind+"?"+same.Encode(), r.now()
	if old, ok := r.searches[key]; ok && now.Sub(old.at) < r.shape.LateSearch {
		return slices.DeleteFunc(slices.Clone(old.ids), func(id string) bool { return r.types[kind].missing(id) != nil }), nil
	}
	ids, refused := r.matching(kind, form)
	if refused == nil {
		r.searches[key] = remembered{slices.Clone(ids), now}
	}
	return ids, refused
}
