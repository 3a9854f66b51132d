package practice

import (
	"net/http"
	"strconv"
)

func (r *Receiver) read(w http.ResponseWriter, kind, id string) *refusal {
	if refused := r.types[kind].missing(id); refused != nil {
		return refused
	}
	v, _ := r.types[kind].current(id)
	w.Header().Set("ETag", `W/"`+strconv.Itoa(v.number)+`"`)
	answer(w, http.StatusOK, v.raw)
	return nil
}

func (r *Receiver) vread(w http.ResponseWriter, kind, id, number string) *refusal {
	for _, v := range r.types[kind].items[id] {
		if strconv.Itoa(v.number) == number {
			if v.deleted {
				return &refusal{status: http.StatusGone, code: "deleted", text: "with this version the resource was deleted"}
			}
			w.Header().Set("ETag", `W/"`+number+`"`)
			answer(w, http.StatusOK, v.raw)
			return nil
		}
	}
	return notFound("there is no such version")
}

// history lists the versions of one resource, newest first.
func (r *Receiver) history(w http.ResponseWriter, req *http.Request, kind, id string) *refusal {
	all := r.types[kind].items[id]
	if len(all) == 0 {
		return notFound("there is no such resource")
	}
	entries := make([]any, 0, len(all))
	for i := len(all) - 1; i >= 0; i-- {
		v := all[i]
		entry := map[string]any{
			"fullUrl":  r.url(req, kind+"/"+id),
			"request":  map[string]any{"method": v.method, "url": kind + "/" + id},
			"response": map[string]any{"status": "200", "etag": `W/"` + strconv.Itoa(v.number) + `"`},
		}
		if !v.deleted {
			entry["resource"] = v.raw
		}
		entries = append(entries, entry)
	}
	answer(w, http.StatusOK, map[string]any{"resourceType": "Bundle", "type": "history", "total": len(all), "entry": entries})
	return nil
}

// Resources returns the present version of everything of a type, in the order
// of creation.
func (r *Receiver) Resources(kind string) []map[string]any {
	r.mu.Lock()
	defer r.mu.Unlock()
	c := r.types[kind]
	if c == nil {
		return nil
	}
	all := make([]map[string]any, 0, len(c.ids))
	for _, id := range c.ids {
		v, _ := c.current(id)
		all = append(all, v.tree())
	}
	return all
}

// Journal returns every write so far, in order.
func (r *Receiver) Journal() []Write {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]Write(nil), r.journal...)
}
