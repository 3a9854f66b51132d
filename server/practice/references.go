package practice

import (
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
)

var (
	literal     = regexp.MustCompile(`^([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})(/_history/[A-Za-z0-9.-]+)?$`)
	conditional = regexp.MustCompile(`^([A-Z][A-Za-z]+)\?(.+)$`)
)

// linked copies a tree with its references made literal: links inside the
// bundle by fullUrl, conditional references by search. Like the real server it
// strips the version of a versioned reference.
func (r *Receiver) linked(tree map[string]any, ids map[string]string) (map[string]any, *refusal) {
	out, refused := r.link(tree, ids)
	if refused != nil {
		return nil, refused
	}
	return out.(map[string]any), nil
}

func (r *Receiver) link(node any, ids map[string]string) (any, *refusal) {
	switch n := node.(type) {
	case map[string]any:
		out := make(map[string]any, len(n))
		for k, v := range n {
			text, isText := v.(string)
			var refused *refusal
			if k == "reference" && isText {
				out[k], refused = r.reference(text, ids)
			} else {
				out[k], refused = r.link(v, ids)
			}
			if refused != nil {
				return nil, refused
			}
		}
		return out, nil
	case []any:
		out := make([]any, len(n))
		for i, v := range n {
			one, refused := r.link(v, ids)
			if refused != nil {
				return nil, refused
			}
			out[i] = one
		}
		return out, nil
	}
	return node, nil
}

func (r *Receiver) reference(text string, ids map[string]string) (string, *refusal) {
	if to, ok := ids[text]; ok {
		return to, nil
	}
	if strings.HasPrefix(text, "urn:") {
		return "", bad("a urn reference that no entry of the bundle has")
	}
	if m := conditional.FindStringSubmatch(text); m != nil {
		return r.conditionalReference(m[1], m[2])
	}
	if m := literal.FindStringSubmatch(text); m != nil {
		return m[1] + "/" + m[2], nil
	}
	return text, nil
}

func (r *Receiver) conditionalReference(kind, query string) (string, *refusal) {
	form, err := url.ParseQuery(query)
	if err != nil || r.types[kind] == nil {
		return "", bad("a conditional reference that cannot be read")
	}
	ids, refused := r.matching(kind, form)
	switch {
	case refused != nil:
		return "", refused
	case len(ids) == 0:
		return "", notFound("no resources match this search of a conditional reference")
	case len(ids) > 1:
		return "", &refusal{status: http.StatusPreconditionFailed, code: "multiple-matches", text: "multiple matches for a conditional reference"}
	}
	return kind + "/" + ids[0], nil
}

// checkTargets demands that every literal reference leads to something here,
// and to something of a type that the element allows.
func (r *Receiver) checkTargets(tree map[string]any) *refusal {
	kind, _ := tree["resourceType"].(string)
	return r.checkNode(kind, kind, tree)
}

func (r *Receiver) checkNode(kind, path string, node any) *refusal {
	switch n := node.(type) {
	case map[string]any:
		if text, ok := n["reference"].(string); ok {
			if refused := r.checkReference(kind, path, text); refused != nil {
				return refused
			}
		}
		for k, v := range n {
			if refused := r.checkNode(kind, path+"."+k, v); refused != nil {
				return refused
			}
		}
	case []any:
		for i, v := range n {
			if refused := r.checkNode(kind, path+"["+strconv.Itoa(i)+"]", v); refused != nil {
				return refused
			}
		}
	}
	return nil
}

var indexes = regexp.MustCompile(`\[\d+\]`)

func (r *Receiver) checkReference(kind, path, text string) *refusal {
	m := literal.FindStringSubmatch(text)
	if m == nil {
		return nil // an absolute address elsewhere, or a fragment
	}
	plain := strings.TrimPrefix(indexes.ReplaceAllString(path, ""), kind+".")
	if allowed := targets[kind+"."+plain]; allowed != "" && !strings.Contains(" "+allowed+" ", " "+m[1]+" ") {
		return &refusal{http.StatusUnprocessableEntity, "processing", "the element must not refer to this type", path}
	}
	c := r.types[m[1]]
	if c == nil {
		return &refusal{http.StatusBadRequest, "processing", "a reference to an unknown type", path}
	}
	if _, ok := c.current(m[2]); !ok {
		return &refusal{http.StatusBadRequest, "processing", "Resource " + m[1] + " not found, specified in path: " + path, path}
	}
	return nil
}
