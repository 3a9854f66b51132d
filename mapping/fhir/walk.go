package fhir

import (
	"bytes"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// walker goes over the bytes of a resource once, without building a tree:
// every graph is checked before it leaves, so this has to cost little.
type walker struct {
	types   map[string]string // UUID to type
	caseKey string
	site    map[string]map[string]string // codings of the site: display, as JSON has it, by system and code

	raw      []byte
	at       int
	path     [][]byte
	names    [][]byte // of the members of the objects that are open, outermost first
	current  graph.Resource
	labelled bool
	hasCase  bool
	hasRole  bool
}

// seen is what one object said, as far as a check needs it.
type seen struct {
	names                                    [][]byte
	system, code, display, reference, status []byte
	value                                    []byte
}

// has reports whether a member, or any member of a choice, was there.
func (s *seen) has(name string) bool {
	choice, isChoice := strings.CutSuffix(name, "[x]")
	for _, n := range s.names {
		if string(n) == name || isChoice && isOfChoice(n, choice) {
			return true
		}
	}
	return false
}

// isOfChoice also takes the extension of a primitive ("_performedDateTime"),
// which says why the value is missing.
func isOfChoice(name []byte, choice string) bool {
	name = bytes.TrimPrefix(name, []byte("_"))
	return len(name) > len(choice) && string(name[:len(choice)]) == choice && isUpper(name[len(choice)])
}

func isUpper(c byte) bool { return c >= 'A' && c <= 'Z' }

// where is the path to what was looked at last.
func (w *walker) where() string {
	var b strings.Builder
	for _, p := range w.path {
		b.WriteByte('.')
		b.Write(p)
	}
	return b.String()
}

// resource walks over one resource.
func (w *walker) resource(r graph.Resource) error {
	w.raw, w.at, w.path, w.current = r.Body, 0, w.path[:0], r
	w.labelled, w.hasCase, w.hasRole = false, false, false
	if !bytes.HasPrefix(r.Body, []byte(`{"resourceType":"`+r.Type+`"`)) {
		return errWrongType
	}
	if err := w.object(nil); err != nil {
		return err
	}
	if w.at != len(w.raw) {
		return errNotJSON
	}
	if !w.hasRole || !w.hasCase && !r.Shared {
		return errKeyMissing
	}
	return nil
}

func (w *walker) peek() byte {
	if w.at < len(w.raw) {
		return w.raw[w.at]
	}
	return 0
}

func (w *walker) take(c byte) error {
	if w.peek() != c {
		return errNotJSON
	}
	w.at++
	return nil
}

// item reads any value that stands under a member name.
func (w *walker) item(name []byte) (text []byte, err error) {
	switch c := w.peek(); {
	case c == '{':
		return nil, w.object(name)
	case c == '[':
		return nil, w.list(name)
	case c == '"':
		text, err := w.text()
		if err == nil && blank(text) {
			err = errEmptyValue
		}
		return text, err
	case c == 'n':
		return nil, errEmptyValue
	case c == 't' || c == 'f' || c == '-' || c >= '0' && c <= '9':
		for w.at < len(w.raw) && w.raw[w.at] != ',' && w.raw[w.at] != ']' && w.raw[w.at] != '}' {
			w.at++
		}
		return nil, nil
	}
	return nil, errNotJSON
}

// text reads a string and returns its bytes between the quotes, escapes and all.
func (w *walker) text() ([]byte, error) {
	if err := w.take('"'); err != nil {
		return nil, err
	}
	start := w.at
	for {
		quote := bytes.IndexByte(w.raw[w.at:], '"')
		if quote < 0 {
			return nil, errNotJSON
		}
		w.at += quote + 1
		if !escaped(w.raw[start : w.at-1]) {
			return w.raw[start : w.at-1], nil
		}
	}
}

// escaped reports whether what follows s is escaped: s ends in an odd number of
// backslashes.
func escaped(s []byte) bool {
	n := 0
	for n < len(s) && s[len(s)-1-n] == '\\' {
		n++
	}
	return n%2 == 1
}

// blank reports whether a string holds nothing but space.
func blank(s []byte) bool {
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '\\' && i+1 < len(s) && bytes.IndexByte([]byte("ntr"), s[i+1]) >= 0:
			i++
		case s[i] != ' ':
			return false
		}
	}
	return true
}

// list reads the items of a list as if each stood under its name.
func (w *walker) list(name []byte) error {
	w.at++
	if w.peek() == ']' {
		return errEmptyValue
	}
	for {
		if _, err := w.item(name); err != nil {
			return err
		}
		if w.peek() == ',' {
			w.at++
			continue
		}
		return w.take(']')
	}
}

// object reads an object, member by member, and judges it at its end.
func (w *walker) object(name []byte) error {
	w.at++
	if w.peek() == '}' {
		return errEmptyValue
	}
	// The names of an object lie behind those of the objects around it, in one
	// list for all: a list of its own for each would cost more than the walk.
	outer := len(w.names)
	defer func() { w.names = w.names[:outer] }()
	var s seen
	for {
		member, err := w.text()
		if err != nil {
			return err
		}
		if err := w.take(':'); err != nil {
			return err
		}
		w.path = append(w.path, member)
		value, err := w.item(member)
		if err == nil && value != nil {
			err = s.note(member, value)
		}
		if err == nil {
			err = s.fits(member)
		}
		if err != nil {
			return err
		}
		w.names = append(w.names, member)
		s.names = w.names[outer:]
		w.path = w.path[:len(w.path)-1]
		if w.peek() == ',' {
			w.at++
			continue
		}
		if err := w.take('}'); err != nil {
			return err
		}
		return w.judge(name, &s)
	}
}

// fits checks a member beside those before: no two of one name, no two of one
// choice.
func (s *seen) fits(member []byte) error {
	base := choiceOf(member)
	for _, n := range s.names {
		if bytes.Equal(n, member) {
			return errTwiceNamed
		}
		if base != "" && len(n) > len(base) && isOfChoice(n, base) {
			return errTwoOfChoice
		}
	}
	return nil
}

// choiceOf is the choice that a member belongs to. Only names of several words,
// which are few, can be of one.
func choiceOf(member []byte) string {
	for _, c := range member {
		if isUpper(c) {
			return model.ChoiceBase(string(member))
		}
	}
	return ""
}

// note keeps the strings that checks need and checks times on the way.
func (s *seen) note(member, value []byte) error {
	switch string(member) {
	case "system":
		s.system = value
	case "code":
		s.code = value
	case "display":
		s.display = value
	case "reference":
		s.reference = value
	case "status":
		s.status = value
	case "value":
		s.value = value
	case "issued", "recorded":
		if !isInstant(value) {
			return errTime
		}
	case "start", "end", "date", "detected", "recordedDate", "authoredOn", "receivedTime":
		if !isDateTime(value) {
			return errTime
		}
	default:
		if bytes.HasSuffix(member, []byte("DateTime")) && !isDateTime(value) {
			return errTime
		}
	}
	return nil
}
