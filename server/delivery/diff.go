package delivery

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"maps"
	"math/big"
	"regexp"
	"sort"
	"strconv"
	"strings"
)

// DifferenceKind says how what stands on a target differs from what was sent.
type DifferenceKind string

// The kinds of difference.
const (
	// Lost: the target has not got the element.
	Lost DifferenceKind = "lost"
	// Added: the target has an element more.
	Added DifferenceKind = "added"
	// Changed: the target has another value.
	Changed DifferenceKind = "changed"
	// Digits: the same number with other digits (1.50 became 1.5), so the
	// precision of a measurement is lost.
	Digits DifferenceKind = "digits"
)

// Difference names one element. It never holds a value.
type Difference struct {
	Role string         `json:"role"`
	Path string         `json:"path"`
	Kind DifferenceKind `json:"kind"`
}

// differencesKept bounds what one resource can report; a resource that differs
// more is wrong altogether.
const differencesKept = 50

// serverMeta belongs to the server; the last four are what one server adds.
var serverMeta = map[string]bool{"versionId": true, "lastUpdated": true, "source": true,
	"author": true, "project": true, "compartment": true, "account": true}

// compare lists the differences between a resource as sent and as read. The
// id, server-owned meta, the order of tags, labels and profiles, the words of tags
// and labels, a base URL or version in a reference, and the form of a narrative's
// XHTML do not count.
func compare(role string, sent, read []byte, base string) ([]Difference, error) {
	all, _, err := compareRead(role, sent, read, base)
	return all, err
}

// compareRead also returns the version of what was read; empty when it tells none.
func compareRead(role string, sent, read []byte, base string) (all []Difference, version string, err error) {
	a, b, err := membersOf(sent, read)
	if err != nil {
		return nil, "", err
	}
	am, err := trees(a)
	if err != nil {
		return nil, "", err
	}
	bm, err := trees(b)
	if err != nil {
		return nil, "", err
	}
	c := comparer{role: role, base: base}
	kind, _ := am["resourceType"].(string)
	c.objects(kind, withoutServerOwned(am), withoutServerOwned(bm))
	meta, _ := bm["meta"].(map[string]any)
	version, _ = meta["versionId"].(string)
	return c.found, version, nil
}

// withoutServerOwned copies a resource without what belongs to the server.
func withoutServerOwned(r map[string]any) map[string]any {
	out := make(map[string]any, len(r))
	for k, v := range r {
		out[k] = v
	}
	delete(out, "id")
	meta, _ := out["meta"].(map[string]any)
	delete(out, "meta")
	kept := map[string]any{}
	for k, v := range meta {
		switch {
		case serverMeta[k]:
		case k == "tag" || k == "security":
			kept[k] = sorted(wordless(v))
		case k == "profile":
			kept[k] = sorted(v)
		default:
			kept[k] = v
		}
	}
	if len(kept) > 0 {
		out["meta"] = kept
	}
	return out
}

// wordless leaves the display out of tags and labels: one known server keeps a
// single display for all resources with the same code, that of whoever came first.
func wordless(v any) any {
	list, ok := v.([]any)
	if !ok {
		return v
	}
	out := make([]any, len(list))
	for i, one := range list {
		if coding, ok := one.(map[string]any); ok {
			coding = maps.Clone(coding)
			delete(coding, "display")
			one = coding
		}
		out[i] = one
	}
	return out
}

func sorted(v any) any {
	list, ok := v.([]any)
	if !ok {
		return v
	}
	type pair struct {
		text string
		v    any
	}
	pairs := make([]pair, len(list))
	for i, one := range list {
		text, _ := json.Marshal(one) // came from JSON
		pairs[i] = pair{string(text), one}
	}
	sort.Slice(pairs, func(i, j int) bool { return pairs[i].text < pairs[j].text })
	out := make([]any, len(pairs))
	for i, p := range pairs {
		out[i] = p.v
	}
	return out
}

type comparer struct {
	role, base string
	found      []Difference
}

func (c *comparer) report(path string, kind DifferenceKind) {
	if len(c.found) < differencesKept {
		c.found = append(c.found, Difference{c.role, path, kind})
	}
}

// elementName is what a path may be made of; the names of an answer are input
// like any other.
var elementName = regexp.MustCompile(`^_?[A-Za-z][A-Za-z0-9]{0,63}$`)

func join(path, name string) string {
	if !elementName.MatchString(name) {
		name = "?"
	}
	return path + "." + name
}

func (c *comparer) objects(path string, a, b map[string]any) {
	names := make([]string, 0, len(a)+len(b))
	for k := range a {
		names = append(names, k)
	}
	for k := range b {
		if _, both := a[k]; !both {
			names = append(names, k)
		}
	}
	sort.Strings(names)
	for _, k := range names {
		x, inA := a[k]
		y, inB := b[k]
		switch {
		case !inB:
			c.report(join(path, k), Lost)
		case !inA:
			c.report(join(path, k), Added)
		default:
			c.values(join(path, k), k, x, y)
		}
	}
}

func (c *comparer) values(path, name string, a, b any) {
	switch x := a.(type) {
	case map[string]any:
		if y, ok := b.(map[string]any); ok {
			c.objects(path, x, y)
			return
		}
	case []any:
		if y, ok := b.([]any); ok {
			c.lists(path, name, x, y)
			return
		}
	case json.Number:
		if y, ok := b.(json.Number); ok {
			c.numbers(path, x.String(), y.String())
			return
		}
	case string:
		if y, ok := b.(string); ok {
			if !c.sameText(name, x, y) {
				c.report(path, Changed)
			}
			return
		}
	default: // true, false, null
		if a == b {
			return
		}
	}
	c.report(path, Changed)
}

func (c *comparer) lists(path, name string, a, b []any) {
	for i := range max(len(a), len(b)) {
		at := path + "[" + strconv.Itoa(i) + "]"
		switch {
		case i >= len(b):
			c.report(at, Lost)
		case i >= len(a):
			c.report(at, Added)
		default:
			c.values(at, name, a[i], b[i])
		}
	}
}

func (c *comparer) numbers(path, a, b string) {
	if a == b {
		return
	}
	x, okX := bigRat(a)
	y, okY := bigRat(b)
	if okX && okY && x.Cmp(y) == 0 {
		c.report(path, Digits)
		return
	}
	c.report(path, Changed)
}

// bigRat reads a JSON number exactly. An exponent beyond three digits is
// refused: such a number from a hostile answer would fill the memory.
func bigRat(s string) (*big.Rat, bool) {
	if i := strings.IndexAny(s, "eE"); len(s) > 200 || (i >= 0 && len(s)-i > 5) {
		return nil, false
	}
	return new(big.Rat).SetString(s)
}

func (c *comparer) sameText(name, a, b string) bool {
	switch {
	case name == "reference" && externalForm.MatchString(a):
		// The target was to look: what it kept has to be a place, not the question.
		kind, _, _ := strings.Cut(a, "?")
		return strings.HasPrefix(c.plainReference(b), kind+"/")
	case a == b:
		return true
	case name == "reference":
		return c.plainReference(a) == c.plainReference(b)
	case name == "div":
		return sameXHTML(a, b)
	}
	return false
}

func (c *comparer) plainReference(s string) string {
	s, _, _ = strings.Cut(s, "/_history/")
	return strings.TrimPrefix(s, c.base+"/")
}

// sameXHTML compares two narratives as XML: names, attributes in any order, and
// text with its white space collapsed.
func sameXHTML(a, b string) bool {
	x, okA := xhtmlTokens(a)
	y, okB := xhtmlTokens(b)
	return okA && okB && x == y
}

func xhtmlTokens(s string) (string, bool) {
	d := xml.NewDecoder(strings.NewReader(s))
	d.Entity = xml.HTMLEntity
	var b strings.Builder
	for {
		token, err := d.Token()
		if err == io.EOF {
			return b.String(), true
		}
		if err != nil {
			return "", false
		}
		switch t := token.(type) {
		case xml.StartElement:
			var attrs []string
			for _, at := range t.Attr {
				attrs = append(attrs, at.Name.Local+"="+strconv.Quote(at.Value))
			}
			sort.Strings(attrs)
			b.WriteString("<" + t.Name.Local + " " + strings.Join(attrs, " ") + ">")
		case xml.EndElement:
			b.WriteString("</" + t.Name.Local + ">")
		case xml.CharData:
			if text := strings.Join(strings.Fields(string(t)), " "); text != "" {
				b.WriteString(text)
			}
		}
	}
}

// same reports whether a resource on the target is the one that was meant. Lost
// digits and what the target adds do not make it another.
func same(sent, read []byte, base string) ([]Difference, bool) {
	all, err := compare("", sent, read, base)
	if err != nil {
		return nil, false
	}
	for _, d := range all {
		if d.Kind == Lost || d.Kind == Changed {
			return all, false
		}
	}
	return all, true
}

// Compare lists the differences between a resource as it was sent to a target
// with the base URL and as it was read back there; see [Difference]. The error
// is non-nil when one of the two is not a JSON object.
func Compare(sent, read []byte, base string) ([]Difference, error) {
	return compare("", sent, read, base)
}
