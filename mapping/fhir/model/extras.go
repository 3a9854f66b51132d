package model

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Extras are what the library's structs cannot hold, by path from the
// resource: "_performedDateTime", "component/0/_valueDateTime", "contained".
// A path ends in a member that does not exist yet.
type Extras map[string]json.RawMessage

// DataAbsentReason is the URL of the extension that says why a value is missing.
const DataAbsentReason = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"

// UnknownTime is the companion of a dateTime that R4 or a profile requires and
// nobody knows.
var UnknownTime = json.RawMessage(`{"extension":[{"url":"` + DataAbsentReason + `","valueCode":"unknown"}]}`)

// mend adds the extras and takes out what is empty.
func mend(raw json.RawMessage, extras Extras) (json.RawMessage, error) {
	root, err := ParseObject(raw)
	if err != nil {
		return nil, err
	}
	paths := make([]string, 0, len(extras))
	for path := range extras {
		paths = append(paths, path)
	}
	slices.Sort(paths) // so that the bytes do not depend on the order of a map
	for _, path := range paths {
		if err := root.insert(strings.Split(path, "/"), extras[path]); err != nil {
			return nil, fmt.Errorf("adding %q: %w", path, err)
		}
	}
	root.Scrub()
	return root.JSON()
}

// insert adds a member at the end of a path. It never replaces one: what the
// library wrote is not to be changed behind its back.
func (o *Object) insert(path []string, raw json.RawMessage) error {
	at := o
	for i, step := range path[:len(path)-1] {
		next := at.Get(step)
		if list, ok := next.([]any); ok { // the index is the step after the list's name
			return insertIn(list, path[i+1:], raw)
		}
		child, ok := next.(*Object)
		if !ok {
			return errNotObject
		}
		at = child
	}
	name := path[len(path)-1]
	if at.Get(name) != nil {
		return fmt.Errorf("member exists already")
	}
	value, err := parseAny(raw)
	if err != nil {
		return err
	}
	at.Set(name, value)
	return nil
}

// insertIn goes on with a path inside an item of a list.
func insertIn(list []any, path []string, raw json.RawMessage) error {
	i, err := strconv.Atoi(path[0])
	if err != nil || i < 0 || i >= len(list) || len(path) < 2 {
		return fmt.Errorf("no such list item")
	}
	child, ok := list[i].(*Object)
	if !ok {
		return errNotObject
	}
	return child.insert(path[1:], raw)
}

func parseAny(raw json.RawMessage) (any, error) {
	wrapped, err := ParseObject([]byte(`{"v":` + string(raw) + `}`))
	if err != nil {
		return nil, err
	}
	return wrapped.Get("v"), nil
}
