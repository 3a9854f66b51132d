package practice

import (
	"net/http"
	"sort"
)

// metadata says what is offered, and that it is practice.
func (r *Receiver) metadata(w http.ResponseWriter, req *http.Request) *refusal {
	names := make([]string, 0, len(kinds))
	for name := range kinds {
		names = append(names, name)
	}
	sort.Strings(names)
	var resources []any
	for _, name := range names {
		resources = append(resources, r.shape.describe(kinds[name]))
	}
	answer(w, http.StatusOK, map[string]any{
		"resourceType": "CapabilityStatement", "status": "active", "date": r.now().UTC().Format("2006-01-02"), "kind": "instance",
		"fhirVersion": "4.0.1", "format": []string{mediaType},
		"software":       map[string]any{"name": "enbloc practice receiver", "version": "practice"},
		"implementation": map[string]any{"description": "PRACTICE: " + Notice + ". Not a hospital's record.", "url": r.url(req, "")},
		"rest":           []any{r.shape.rest(resources)},
	})
	return nil
}

// rest leaves out what the shape cannot do, unless it lies.
func (s Shape) rest(resources []any) map[string]any {
	rest := map[string]any{"mode": "server", "resource": resources}
	if s.Claims || !(s.NoTransaction || s.ReadOnly || s.OnlyDocuments) {
		rest["interaction"] = []any{code("transaction")}
	}
	return rest
}

func (s Shape) describe(k kind) map[string]any {
	d := describeKind(k)
	creates := !s.ReadOnly && (!s.OnlyDocuments || k.name == "DocumentReference")
	updates := !s.ReadOnly && !s.OnlyDocuments
	if s.Claims {
		s, creates, updates = Shape{ConditionalUpdate: true, Deletes: true}, true, true
	}
	interactions := []any{code("read"), code("vread"), code("history-instance"), code("search-type")}
	if creates {
		interactions = append(interactions, code("create"))
	}
	if updates {
		interactions = append(interactions, code("update"))
	}
	if s.Deletes {
		interactions = append(interactions, code("delete"))
	}
	d["interaction"] = interactions
	d["updateCreate"] = updates && !s.NoClientIDs
	d["conditionalCreate"] = creates && !s.NoConditionalCreate && !s.IgnoresConditions
	d["conditionalUpdate"] = updates && s.ConditionalUpdate
	return d
}

func describeKind(k kind) map[string]any {
	params := []any{
		map[string]any{"name": "_id", "type": "token"},
		map[string]any{"name": "_tag", "type": "token"},
	}
	if k.identifierSearch {
		params = append(params, map[string]any{"name": "identifier", "type": "token"})
	}
	if k.patient != "" {
		params = append(params, map[string]any{"name": "patient", "type": "reference"}, map[string]any{"name": "subject", "type": "reference"})
	}
	return map[string]any{
		"type": k.name, "versioning": "versioned-update", "readHistory": true,
		"searchParam": params,
	}
}

func code(c string) map[string]any { return map[string]any{"code": c} }
