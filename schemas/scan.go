package schemas

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"

	"enbloc/mapping/report"
)

// Limits of a document. They bound the work that a hostile sender can cause.
const (
	MaxBytes    = 2 << 20 // 2 MiB; a full report has about 10 KB
	MaxDepth    = 64      // levels of objects and lists; the format uses 7
	MaxDigits   = 15      // digits of a figure, what a float64 holds exactly
	MaxFindings = 200     // findings per document; the rest is counted, not listed
)

// scanner reads one JSON text into the tree that the validator walks: objects
// as map[string]any, lists as []any, figures as json.Number.
type scanner struct {
	raw      []byte
	pos      int
	path     []step
	findings []report.Finding
	// refused holds the pointers of values that a finding names already, so
	// that the schema says nothing about them again.
	refused map[string]bool
	// watch, when not 0, asks for the pointer of the innermost value around
	// that byte; seen is the answer.
	watch int
	seen  *string
}

// step is one token of the path from the root: a key, or an index when the key
// is empty and list is set.
type step struct {
	key   string
	index int
	list  bool
}

// stop is how a malformed text ends the scan: nothing after it can be trusted.
type stop struct{ finding report.Finding }

// scan reads raw whole. The findings of a malformed text are one finding whose
// id begins with "json.".
func scan(raw []byte) (s *scanner, tree any) {
	s = &scanner{raw: raw, path: make([]step, 0, 8)}
	defer func() {
		switch halt := recover().(type) {
		case nil:
		case stop:
			s.findings, tree = []report.Finding{halt.finding}, nil
		default:
			panic(halt)
		}
	}()
	s.gate()
	s.space()
	tree = s.value(0)
	s.space()
	if s.pos < len(s.raw) {
		s.halt("json.trailing", s.pos, "something follows the end of the document", "Send one JSON document and nothing after it.")
	}
	return s, tree
}

// gate refuses what must not be looked at any further.
func (s *scanner) gate() {
	switch {
	case len(s.raw) > MaxBytes:
		s.halt("json.too-large", 0, fmt.Sprintf("the document has more than %d bytes", MaxBytes), "Send less: pictures are referred to, never included.")
	case bytes.HasPrefix(s.raw, []byte("\xef\xbb\xbf")):
		s.halt("json.byte-order-mark", 0, "the document begins with a byte order mark", "Write UTF-8 without a byte order mark.")
	case !utf8.Valid(s.raw):
		s.halt("json.encoding", firstInvalid(s.raw), "the document is not valid UTF-8", "Write the document in UTF-8.")
	case len(bytes.TrimSpace(s.raw)) == 0:
		s.halt("json.empty", 0, "the document is empty", "Send one JSON document.")
	}
}

// firstInvalid is the offset of the first byte that is not UTF-8.
func firstInvalid(raw []byte) int {
	for at := 0; at < len(raw); {
		r, size := utf8.DecodeRune(raw[at:])
		if r == utf8.RuneError && size <= 1 {
			return at
		}
		at += size
	}
	return len(raw)
}

// value reads any value and leaves the position behind it.
func (s *scanner) value(depth int) any {
	if depth > MaxDepth {
		s.halt("json.too-deep", s.pos, fmt.Sprintf("objects and lists are nested more than %d deep", MaxDepth), "Send the report as the format describes it.")
	}
	start := s.pos
	v := s.bare(depth)
	if s.watch > start && s.watch <= s.pos && s.seen == nil {
		pointer := s.pointer()
		s.seen = &pointer
	}
	return v
}

func (s *scanner) bare(depth int) any {
	if s.pos >= len(s.raw) {
		s.truncated()
	}
	switch c := s.raw[s.pos]; {
	case c == '{':
		return s.object(depth)
	case c == '[':
		return s.list(depth)
	case c == '"':
		return s.text()
	case c == '-' || c >= '0' && c <= '9':
		return s.number()
	}
	for _, l := range literals {
		if bytes.HasPrefix(s.raw[s.pos:], []byte(l.word)) {
			s.pos += len(l.word)
			return l.value
		}
	}
	s.syntax("a value is expected: an object, a list, a text in double quotation marks, a number, true, false or null")
	return nil
}

var literals = []struct {
	word  string
	value any
}{{"true", true}, {"false", false}, {"null", nil}}

func (s *scanner) object(depth int) any {
	members := make(map[string]any, 8)
	s.pos++
	s.space()
	if s.peek() == '}' {
		s.pos++
		return members
	}
	for {
		s.space()
		at := s.pos
		if s.peek() != '"' {
			s.syntax("a field name in double quotation marks is expected")
		}
		key := s.text()
		s.space()
		if s.peek() != ':' {
			s.syntax("a colon is expected between a field name and its value")
		}
		s.pos++
		s.space()
		s.path = append(s.path, step{key: key})
		if _, twice := members[key]; twice {
			s.duplicate(at)
		}
		members[key] = s.value(depth + 1)
		s.path = s.path[:len(s.path)-1]
		s.space()
		switch s.peek() {
		case ',':
			s.pos++
		case '}':
			s.pos++
			return members
		default:
			s.syntax("a comma or a closing brace is expected")
		}
	}
}

func (s *scanner) list(depth int) any {
	items := make([]any, 0, 4)
	s.pos++
	s.space()
	if s.peek() == ']' {
		s.pos++
		return items
	}
	for {
		s.space()
		s.path = append(s.path, step{index: len(items), list: true})
		items = append(items, s.value(depth+1))
		s.path = s.path[:len(s.path)-1]
		s.space()
		switch s.peek() {
		case ',':
			s.pos++
		case ']':
			s.pos++
			return items
		default:
			s.syntax("a comma or a closing bracket is expected")
		}
	}
}

// duplicate says that a key came before in the same object. Readers disagree
// on which of the two holds, so neither does.
func (s *scanner) duplicate(at int) {
	s.refuse(report.Finding{
		ID:     "document.duplicate-field",
		Text:   "The field occurs twice in the same object; the second is at " + s.where(at) + ".",
		Mend:   "Keep one of the two.",
		Source: "RFC 7493 (I-JSON) section 2.3",
	})
}

// refuse records a finding about the value at the present path.
func (s *scanner) refuse(f report.Finding) {
	f.Severity = report.Error
	f.Pointer = s.pointer()
	if s.refused == nil {
		s.refused = map[string]bool{}
	}
	s.refused[f.Pointer] = true
	s.findings = append(s.findings, f)
}

// number reads a figure. Exponents and figures beyond MaxDigits are refused:
// nobody writes a size as 2e1, and 1e999 has no value.
func (s *scanner) number() any {
	start := s.pos
	end, plain := numberEnd(s.raw, start)
	if end < 0 {
		s.syntax("a number is expected, such as 22 or 1.5")
	}
	s.pos = end
	text := s.raw[start:end]
	if digits := countDigits(text); plain && digits <= MaxDigits {
		return json.Number(text)
	}
	s.refuse(report.Finding{
		ID:     "document.number",
		Text:   "The number has an exponent or more than " + strconv.Itoa(MaxDigits) + " digits.",
		Mend:   "Write it as a plain decimal, such as 0.5 or 120.",
		Source: sourceFormat,
	})
	return json.Number("0") // stands in; the finding above rejects the document
}

// numberEnd returns where the number that begins at i ends, by the grammar of
// RFC 8259 section 6, and whether it has no exponent; -1 when it is none.
func numberEnd(raw []byte, i int) (end int, plain bool) {
	digits := func(at int) int {
		for at < len(raw) && raw[at] >= '0' && raw[at] <= '9' {
			at++
		}
		return at
	}
	if raw[i] == '-' {
		i++
	}
	whole := digits(i)
	if whole == i || raw[i] == '0' && whole > i+1 {
		return -1, false
	}
	end, plain = whole, true
	if end < len(raw) && raw[end] == '.' {
		fraction := digits(end + 1)
		if fraction == end+1 {
			return -1, false
		}
		end = fraction
	}
	if end < len(raw) && (raw[end] == 'e' || raw[end] == 'E') {
		exponent := end + 1
		if exponent < len(raw) && (raw[exponent] == '+' || raw[exponent] == '-') {
			exponent++
		}
		last := digits(exponent)
		if last == exponent {
			return -1, false
		}
		return last, false
	}
	return end, plain
}

func countDigits(text []byte) int {
	n := 0
	for _, c := range text {
		if c >= '0' && c <= '9' {
			n++
		}
	}
	return n
}

// text reads a string. What needs no unescaping is taken as it stands.
func (s *scanner) text() string {
	start := s.pos
	escaped := false
	for i := start + 1; i < len(s.raw); i++ {
		switch c := s.raw[i]; {
		case c == '"':
			s.pos = i + 1
			if !escaped {
				return string(s.raw[start+1 : i])
			}
			return s.unescape(start)
		case c == '\\':
			escaped = true
			i++
		case c < 0x20:
			s.pos = i
			s.syntax("a text holds a line break or another control character that is not escaped")
		}
	}
	s.truncated()
	return ""
}

// unescape decodes the string literal from start to the present position and
// refuses half a surrogate pair, which no Unicode text can hold.
func (s *scanner) unescape(start int) string {
	literal := s.raw[start:s.pos]
	var text string
	if err := json.Unmarshal(literal, &text); err != nil {
		s.pos = start
		s.syntax(`a text has an escape that JSON does not know; write \\ for a backslash`)
	}
	if halfPair(literal) {
		s.pos = start
		s.syntax("a text holds half a surrogate pair")
	}
	return text
}

// halfPair reports whether a string literal escapes half a surrogate pair,
// which encoding/json replaces silently.
func halfPair(literal []byte) bool {
	for i := 0; i+5 < len(literal); i++ {
		if literal[i] != '\\' {
			continue
		}
		i++ // the escaped character, be it a backslash
		if literal[i] != 'u' {
			continue
		}
		switch first := hexRune(literal, i+1); {
		case !utf16.IsSurrogate(first):
			i += 4
		case i+10 < len(literal) && literal[i+5] == '\\' && literal[i+6] == 'u' &&
			utf16.DecodeRune(first, hexRune(literal, i+7)) != utf8.RuneError:
			i += 10
		default:
			return true
		}
	}
	return false
}

// hexRune reads four hexadecimal digits; json.Unmarshal checked them.
func hexRune(literal []byte, at int) rune {
	v, err := strconv.ParseUint(string(literal[at:min(at+4, len(literal))]), 16, 32)
	if err != nil {
		return 0
	}
	return rune(v)
}

func (s *scanner) space() {
	for s.pos < len(s.raw) {
		switch s.raw[s.pos] {
		case ' ', '\t', '\n', '\r':
			s.pos++
		default:
			return
		}
	}
}

// peek is the next byte; at the end of the text the scan stops.
func (s *scanner) peek() byte {
	if s.pos >= len(s.raw) {
		s.truncated()
	}
	return s.raw[s.pos]
}
