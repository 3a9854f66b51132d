package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"enbloc/mapping"
	"enbloc/mapping/check"
	"enbloc/mapping/report"
	"enbloc/schemas"
)

// maxDocument bounds a document, so that a wrong path is refused instead of
// filling the memory. A long session with ten lesions takes about 100 kB.
const maxDocument = 16 << 20

// document is one that was named on the command line.
type document struct {
	name   string // as given
	schema string // what it says it is
	raw    []byte
}

// read reads FILE, or standard input for "-".
func (s Streams) read(name string) (document, error) {
	in := s.In
	if name != "-" {
		f, err := os.Open(filepath.Clean(name))
		if err != nil {
			return document{}, usagef("reading document: %w", err)
		}
		defer f.Close() //nolint:errcheck // nothing was written
		in = f
	} else {
		name = "standard input"
	}
	if in == nil {
		return document{}, usagef("reading document: there is no standard input")
	}
	raw, err := io.ReadAll(io.LimitReader(in, maxDocument+1))
	if err != nil {
		return document{}, usagef("reading document: %w", err)
	}
	if len(raw) > maxDocument {
		return document{}, usagef("reading document: %s is longer than %d MiB", name, maxDocument>>20)
	}
	return identify(document{name: name, raw: raw})
}

// identify finds out what a document says it is. What is no JSON at all is
// unreadable, which is not the same as a report with errors.
func identify(d document) (document, error) {
	if !json.Valid(d.raw) {
		err := fmt.Errorf("%s is not JSON", d.name)
		if _, findings := schemas.DecodeReport(d.raw); len(findings) > 0 {
			err = fmt.Errorf("%w: %s %s", err, findings[0].Text, findings[0].Mend)
		}
		return d, &exitError{Usage, err}
	}
	var envelope struct {
		Schema any `json:"schema"`
	}
	// A document that is no object has no schema; its findings will say so.
	_ = json.Unmarshal(d.raw, &envelope)
	d.schema, _ = envelope.Schema.(string)
	return d, nil
}

// session is a report with the parts that were given beside it.
type session struct {
	documents []document // the report first
	rep       report.Report
	findings  []report.Finding
}

// load reads a report and the parts that belong to it, checks each, and joins
// them.
func (s Streams) load(file string, with []string) (session, error) {
	d, err := s.read(file)
	if err != nil {
		return session{}, err
	}
	if d.schema == report.SchemaHistology || d.schema == report.SchemaEvents {
		return session{}, usagef("%s is a part (%s), not a report: give the report, and the part by --with", d.name, d.schema)
	}
	c := session{documents: []document{d}}
	if len(with) == 0 {
		c.rep, c.findings = mapping.Check(d.raw)
		return c, nil
	}
	c.rep, c.findings = schemas.DecodeReport(d.raw)
	return c, s.join(&c, with)
}

// join adds the parts and checks the case as a whole. Pointers of findings
// about a part lead into that part.
func (s Streams) join(c *session, with []string) error {
	var histology []report.HistologyPart
	var events []report.EventsPart
	for _, name := range with {
		d, err := s.read(name)
		if err != nil {
			return err
		}
		c.documents = append(c.documents, d)
		var findings []report.Finding
		switch d.schema {
		case report.SchemaHistology:
			var part report.HistologyPart
			part, findings = schemas.DecodeHistology(d.raw)
			histology = append(histology, part)
		case report.SchemaEvents:
			var part report.EventsPart
			part, findings = schemas.DecodeEvents(d.raw)
			events = append(events, part)
		default:
			return usagef("%s is neither a histology part (%s) nor an events part (%s)", d.name, report.SchemaHistology, report.SchemaEvents)
		}
		c.findings = append(c.findings, findings...)
	}
	if report.Rejects(c.findings) {
		return nil
	}
	merged, findings := report.Merge(c.rep, histology, events)
	c.rep = merged
	c.findings = append(append(c.findings, findings...), check.Check(merged)...)
	return nil
}

// checkAlone checks one document of any kind by itself.
func checkAlone(d document) []report.Finding {
	switch d.schema {
	case report.SchemaHistology:
		_, findings := schemas.DecodeHistology(d.raw)
		return findings
	case report.SchemaEvents:
		_, findings := schemas.DecodeEvents(d.raw)
		return findings
	}
	_, findings := mapping.Check(d.raw)
	return findings
}

// printJSON writes one value, indented, and a line break.
func (s Streams) printJSON(v any) error {
	raw, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fmt.Errorf("encoding output: %w", err)
	}
	_, err = s.Out.Write(append(raw, '\n'))
	return writing(err)
}

// writing wraps an error of standard output; a closed pipe (head, less) is the
// reader's decision and no error.
func writing(err error) error {
	if err == nil || errors.Is(err, os.ErrClosed) || isBrokenPipe(err) {
		return nil
	}
	return fmt.Errorf("writing output: %w", err)
}
