package schemas

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"enbloc/mapping/report"
)

const sourceJSON = "RFC 8259 (JSON)"

// halt ends the scan with the one finding that matters.
func (s *scanner) halt(id string, at int, what, mend string) {
	panic(stop{report.Finding{
		ID:       id,
		Severity: report.Error,
		Pointer:  s.pointer(),
		Text:     upperFirst(what) + " (" + s.where(at) + ").",
		Mend:     mend,
		Source:   sourceJSON,
	}})
}

// truncated says that the text ended in the middle.
func (s *scanner) truncated() {
	s.halt("json.truncated", len(s.raw), "the document ends in the middle", "Send it whole; the transfer may have been cut off.")
}

// syntax says that the text is not JSON at the present position.
func (s *scanner) syntax(expected string) {
	switch {
	case s.pos < len(s.raw) && s.raw[s.pos] == '/':
		expected = "comments are not allowed"
	case s.pos < len(s.raw) && (s.raw[s.pos] == '}' || s.raw[s.pos] == ']') && s.afterComma():
		expected = "nothing follows a comma"
	}
	s.halt("json.syntax", s.pos, "this is not JSON: "+expected, "Correct the text there; a JSON editor marks the place.")
}

// afterComma reports whether the last thing before the position is a comma.
func (s *scanner) afterComma() bool {
	return bytes.HasSuffix(bytes.TrimRight(s.raw[:s.pos], " \t\r\n"), []byte(","))
}

// where names an offset in terms that an editor shows. Lines and columns count
// from 1, columns in characters; bytes count from 0.
func (s *scanner) where(at int) string {
	before := s.raw[:min(at, len(s.raw), MaxBytes)]
	line := bytes.Count(before, []byte("\n")) + 1
	column := utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:]) + 1
	return fmt.Sprintf("line %d, column %d, byte %d", line, column, at)
}

// pointer is the JSON Pointer (RFC 6901) of the present path. It ends before
// the first key that is no field name: such a key could be anything, even a
// patient's name.
func (s *scanner) pointer() string {
	var b strings.Builder
	for _, t := range s.path {
		switch {
		case t.list:
			b.WriteString("/" + strconv.Itoa(t.index))
		case fieldName(t.key):
			b.WriteString("/" + t.key)
		default:
			return b.String()
		}
	}
	return b.String()
}

// maxFieldName is longer than any field of the format.
const maxFieldName = 40

// fieldName reports whether a key looks like the name of a field, which may be
// repeated in a finding. Such a key needs no escaping in a JSON Pointer.
func fieldName(key string) bool {
	if key == "" || len(key) > maxFieldName {
		return false
	}
	for i := 0; i < len(key); i++ {
		c := key[i]
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
		if !letter && (i == 0 || !(c >= '0' && c <= '9' || c == '_' || c == '-')) {
			return false
		}
	}
	return true
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
