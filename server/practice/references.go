package practice

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// literal takes Type/id apart; a version behind it is left out.
func literal(text string) (kind, id string, ok bool) {
	kind, rest, ok := strings.Cut(text, "/")
	if !ok || !typeName(kind) {
		return "", "", false
	}
	id, history, versioned := strings.Cut(rest, "/")
	if versioned {
		number, of := strings.CutPrefix(history, "_history/")
		if !of || !validID(number) {
			return "", "", false
		}
	}
	return kind, id, validID(id)
}

// conditional takes Type?query apart.
func conditional(text string) (kind, query string, ok bool) {
	kind, query, ok = strings.Cut(text, "?")
	return kind, query, ok && query != "" && typeName(kind)
}

func typeName(s string) bool {
	return s != "" && s[0] >= 'A' && s[0] <= 'Z' && !strings.ContainsFunc(s, func(c rune) bool { return !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z') })
}

// validID reports whether a text is an id (http://hl7.org/fhir/R4/datatypes.html#id).
func validID(s string) bool {
	return s != "" && len(s) <= 64 && !strings.ContainsFunc(s, func(c rune) bool {
		return !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '.')
	})
}

// links are what the references of a transaction may lead to: entries by their
// fullUrl, and by the condition of their create.
type links struct{ urls, conditions map[string]string }

// linked copies a tree with its references made literal: links inside the
// bundle by fullUrl, conditional references by search. Like the real server it
// strips the version of a versioned reference.
func (r *Receiver) linked(tree map[string]any, to links) (map[string]any, *refusal) {
	out, refused := r.link(tree, to)
	if refused != nil {
		return nil, refused
	}
	return out.(map[string]any), nil
}

func (r *Receiver) link(node any, to links) (any, *refusal) {
	switch n := node.(type) {
	case map[string]any:
		out := make(map[string]any, len(n))
		for k, v := range n {
			text, isText := v.(string)
			var refused *refusal
			if k == "reference" && isText {
				out[k], refused = r.reference(text, to)
			} else {
				out[k], refused = r.link(v, to)
			}
			if refused != nil {
				return nil, refused
			}
		}
		return out, nil
	case []any:
		out := make([]any, len(n))
		for i, v := range n {
			one, refused := r.link(v, to)
			if refused != nil {
				return nil, refused
			}
			out[i] = one
		}
		return out, nil
	case json.Number:
		return plain(n), nil
	}
	return node, nil
}

// plain spells a decimal without an exponent, its digits kept, as the real server
// does.
func plain(n json.Number) json.Number {
	text := string(n)
	at := strings.IndexAny(text, "eE")
	if at < 0 {
		return n
	}
	exponent, err := strconv.Atoi(text[at+1:])
	if err != nil || exponent < -400 || exponent > 400 {
		return n
	}
	sign, digits := "", text[:at]
	if digits[0] == '-' {
		sign, digits = "-", digits[1:]
	}
	whole, fraction, _ := strings.Cut(digits, ".")
	point := len(whole) + exponent
	digits = whole + fraction
	switch {
	case point <= 0:
		digits = "0." + strings.Repeat("0", -point) + digits
	case point >= len(digits):
		digits += strings.Repeat("0", point-len(digits))
	default:
		digits = digits[:point] + "." + digits[point:]
	}
	whole, fraction, _ = strings.Cut(digits, ".")
	if whole = strings.TrimLeft(whole, "0"); whole == "" {
		whole = "0"
	}
	if fraction != "" {
		whole += "." + fraction
	}
	return json.Number(sign + whole)
}

func (r *Receiver) reference(text string, to links) (string, *refusal) {
	if place, ok := to.urls[text]; ok {
		return place, nil
	}
	if strings.HasPrefix(text, "urn:") {
		return "", bad("a urn reference that no entry of the bundle has")
	}
	if kind, query, ok := conditional(text); ok {
		if place, ok := to.conditions[text]; ok {
			return place, nil
		}
		return r.conditionalReference(kind, query)
	}
	if kind, id, ok := literal(text); ok {
		return kind + "/" + id, nil
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
	if refused := r.checkNode(kind, tree); refused != nil {
		refused.place = kind + refused.place
		return refused
	}
	return nil
}

// checkNode looks below a node; path is its place without indexes.
func (r *Receiver) checkNode(path string, node any) *refusal {
	switch n := node.(type) {
	case map[string]any:
		if text, ok := n["reference"].(string); ok {
			if refused := r.checkReference(path, text); refused != nil {
				return refused
			}
		}
		for k, v := range n {
			switch v.(type) {
			case map[string]any, []any:
				if refused := r.checkNode(path+"."+k, v); refused != nil {
					return refused.at(k)
				}
			}
		}
	case []any:
		for i, v := range n {
			if refused := r.checkNode(path, v); refused != nil {
				refused.place = "[" + strconv.Itoa(i) + "]" + refused.place
				return refused
			}
		}
	}
	return nil
}

func (r *Receiver) checkReference(path, text string) *refusal {
	kind, id, ok := literal(text)
	switch {
	case !ok && strings.HasPrefix(text, "#"):
		return nil // something contained
	case !ok:
		return bad("a reference to another server, or to no resource")
	}
	if allowed := targets[path]; allowed != "" && !strings.Contains(" "+allowed+" ", " "+kind+" ") {
		return &refusal{status: http.StatusUnprocessableEntity, code: "processing", text: "the element must not refer to this type"}
	}
	c := r.types[kind]
	if c == nil {
		return bad("a reference to an unknown type")
	}
	if _, ok := c.current(id); !ok {
		return bad("Resource " + kind + " not found, specified in path: " + path)
	}
	return nil
}
