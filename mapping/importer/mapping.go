package importer

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones, the same on every machine
)

// Mapping says how a table is read.
type Mapping struct {
	Version int `json:"version"` // of this format: 1
	// Delimiter parts the cells; "" means a comma.
	Delimiter string `json:"delimiter,omitempty"`
	// Constants are values that every report gets, by JSON Pointer.
	Constants map[string]json.RawMessage `json:"constants"`
	Columns   []Column                   `json:"columns"`
	// Missing lists the cells that say nothing, beside the empty one: the field
	// is left out. Unknown lists those that say "unknown".
	Missing []string `json:"missing,omitempty"`
	Unknown []string `json:"unknown,omitempty"`
}

// Column maps one column, named by its header. Exactly one of Ignore and To is
// given; of Values, Number, Time, at most one. With none of these the cell is
// taken as text.
type Column struct {
	Column string `json:"column"`
	Ignore bool   `json:"ignore,omitempty"`
	To     string `json:"to,omitempty"` // JSON Pointer into the report
	// Values translates words; a word that is not in it is refused.
	Values map[string]json.RawMessage `json:"values,omitempty"`
	// Number reads a plain decimal, with a decimal comma if Comma is set.
	Number bool `json:"number,omitempty"`
	Comma  bool `json:"comma,omitempty"`
	// Time is the layout of a moment in Go's notation ("02.01.2006 15:04"), Zone
	// the IANA name of the zone that the clock on the wall kept.
	Time string `json:"time,omitempty"`
	Zone string `json:"zone,omitempty"`

	path     []string
	location *time.Location
}

// reserved are set by the importer: a former case is never more than a draft.
var reserved = []string{"/schema", "/status", "/revision", "/signed_at", "/signer"}

var pointer = regexp.MustCompile(`^(/([a-z_][a-z0-9_]*|0|[1-9][0-9]?))+$`)

// Read reads a mapping file. Its errors name every fault of the file.
func Read(raw []byte) (*Mapping, error) {
	var m Mapping
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return nil, fmt.Errorf("reading mapping file: %w", err)
	}
	var errs []error
	fail := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("reading mapping file: "+format, args...))
	}
	if m.Version != 1 {
		fail("version %d is not known: this is version 1", m.Version)
	}
	if len([]rune(m.Delimiter)) > 1 {
		fail("the delimiter has to be one character")
	}
	if len(m.Columns) == 0 {
		fail("no column is mapped")
	}
	taken := map[string]string{}
	take := func(to, by string) {
		switch {
		case !pointer.MatchString(to):
			fail("%s: %q is no JSON Pointer into a report, such as /lesions/0/examination/organ", by, to)
		case slices.ContainsFunc(reserved, func(r string) bool { return to == r || strings.HasPrefix(to, r+"/") }):
			fail("%s: %s is set by the import itself", by, to)
		}
		for other, owner := range taken {
			if other == to || strings.HasPrefix(other, to+"/") || strings.HasPrefix(to, other+"/") {
				fail("%s: %s is set by %s already", by, to, owner)
			}
		}
		taken[to] = by
	}
	for to := range m.Constants {
		take(to, "a constant")
	}
	names := map[string]bool{}
	for i := range m.Columns {
		c := &m.Columns[i]
		if c.Column == "" || names[c.Column] {
			fail("column %d has no name, or that of another", i+1)
		}
		names[c.Column] = true
		if err := c.complete(); err != nil {
			fail("column %q: %w", c.Column, err)
		}
		if !c.Ignore {
			take(c.To, fmt.Sprintf("column %q", c.Column))
		}
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	return &m, nil
}

func (c *Column) complete() error {
	kinds := 0
	for _, given := range []bool{c.Values != nil, c.Number, c.Time != ""} {
		if given {
			kinds++
		}
	}
	switch {
	case c.Ignore && (c.To != "" || kinds > 0):
		return errors.New("it is to be ignored, so nothing else may be said of it")
	case !c.Ignore && c.To == "":
		return errors.New("say where it goes (to), or that it is to be ignored (ignore)")
	case kinds > 1:
		return errors.New("give one of values, number, time")
	case c.Comma && !c.Number:
		return errors.New("comma belongs to a number")
	case (c.Time == "") != (c.Zone == ""):
		return errors.New("a time needs its layout (time) and the zone of the clock on the wall (zone)")
	}
	c.path = strings.Split(strings.TrimPrefix(c.To, "/"), "/")
	if c.Zone != "" {
		location, err := time.LoadLocation(c.Zone)
		if err != nil || c.Zone == "Local" {
			return fmt.Errorf("%q is no zone such as Europe/Berlin", c.Zone)
		}
		c.location = location
	}
	return nil
}
