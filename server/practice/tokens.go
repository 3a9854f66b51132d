package practice

import "strings"

// token is a system with a value: an identifier or a tag.
type token struct{ system, value string }

func identifiers(tree map[string]any) []token {
	var all []token
	add := func(v any) {
		if o, ok := v.(map[string]any); ok {
			system, _ := o["system"].(string)
			value, _ := o["value"].(string)
			all = append(all, token{system, value})
		}
	}
	switch v := tree["identifier"].(type) {
	case []any:
		for _, one := range v {
			add(one)
		}
	default: // AdverseEvent and a few others have one, not a list
		add(v)
	}
	return all
}

func tags(tree map[string]any) []token {
	meta, _ := tree["meta"].(map[string]any)
	list, _ := meta["tag"].([]any)
	var all []token
	for _, one := range list {
		if o, ok := one.(map[string]any); ok {
			system, _ := o["system"].(string)
			code, _ := o["code"].(string)
			all = append(all, token{system, code})
		}
	}
	return all
}

// wanted is a token of a search: with hasSystem false any system will do.
type wanted struct {
	token
	hasSystem bool
}

// parseTokens splits a search value at commas and bars that no backslash
// escapes (http://hl7.org/fhir/R4/search.html#escaping). It refuses values that
// a real server was seen to refuse.
func parseTokens(text string) ([]wanted, *refusal) {
	var all []wanted
	for _, part := range splitUnescaped(text, ',') {
		pieces := splitUnescaped(part, '|')
		switch {
		case part == "" || len(pieces) > 2:
			return nil, bad("the search value is not a token")
		case len(pieces) == 2:
			all = append(all, wanted{token{unescape(pieces[0]), unescape(pieces[1])}, true})
		default:
			all = append(all, wanted{token{"", unescape(pieces[0])}, false})
		}
	}
	return all, nil
}

func splitUnescaped(s string, at byte) []string {
	var parts []string
	start := 0
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '\\':
			i++
		case at:
			parts = append(parts, s[start:i])
			start = i + 1
		}
	}
	return append(parts, s[start:])
}

func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			i++
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// withToken returns the resources that have one of the tokens, in order of creation.
func (c *collection) withToken(param string, any []wanted) []string {
	hit := map[string]bool{}
	for _, w := range any {
		if w.hasSystem && w.value != "" {
			for id := range c.index[param+"="+w.system+"|"+w.value] {
				hit[id] = true
			}
			continue
		}
		// "value" of any system, or "system|" of any value: rare, so a walk.
		for key, ids := range c.index {
			system, value, _ := strings.Cut(strings.TrimPrefix(key, param+"="), "|")
			if !strings.HasPrefix(key, param+"=") || (w.hasSystem && system != w.system) || (!w.hasSystem && value != w.value) {
				continue
			}
			for id := range ids {
				hit[id] = true
			}
		}
	}
	var all []string
	for id := range hit {
		all = append(all, id)
	}
	return c.inOrder(all, hit)
}

// inOrder sorts a few ids by creation, or walks all when there are many.
func (c *collection) inOrder(some []string, hit map[string]bool) []string {
	if len(some) < 2 {
		return some
	}
	ordered := make([]string, 0, len(some))
	for _, id := range c.ids {
		if hit[id] {
			ordered = append(ordered, id)
		}
	}
	return ordered
}
