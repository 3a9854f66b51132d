package main

import (
	"bytes"
	"context"
	"slices"

	"enbloc/server/internal/child"
	"enbloc/server/store"
)

// reports is where reports are sent.
const reports = "/cases"

// kindAt is what a document is that was sent to a path.
var kindAt = map[string]store.Kind{reports: store.Report, "/histology": store.Histology, "/events": store.Events}

// waited is how many documents came before the report, and waited for it.
func (s *sent) waited() int {
	return slices.IndexFunc(s.documents, func(d child.Document) bool { return d.Path == reports })
}

// states is how many states the case must have: one for each document from the
// report on.
func (s *sent) states() int { return len(s.documents) - s.waited() }

// at is what a state must consist of: every document until then, as no sender
// sends a part in two revisions.
func (s *sent) at(sequence int) []child.Document { return s.documents[:s.waited()+sequence] }

// checkDocuments holds what the program keeps of a case, all in all and state by
// state, against what was sent: the states are mapped anew from what is kept, and
// must rest on the sender's own words.
func (v *verdict) checkDocuments(ctx context.Context, st *store.Store, c *sent) error {
	kept, err := st.CaseDocuments(ctx, c.key)
	if err != nil {
		return err
	}
	v.hold(c.key, "the case", c.documents, kept)
	for sequence := 1; sequence <= c.states(); sequence++ {
		kept, err := st.DocumentsAt(ctx, c.key, sequence)
		if err != nil {
			return err
		}
		v.hold(c.key, "a state", c.at(sequence), kept)
	}
	return nil
}

// hold demands that every document is kept, byte by byte and once, and nothing
// beside.
func (v *verdict) hold(caseKey, where string, sent []child.Document, kept []store.Document) {
	kept = slices.Clone(kept)
	for i, d := range sent {
		at := slices.IndexFunc(kept, func(k store.Document) bool { return k.Kind == kindAt[d.Path] && bytes.Equal(k.Body, d.Body) })
		if at < 0 {
			v.note(&v.Lost, "%s: document %d to %s is not in %s as it was sent", caseKey, i, d.Path, where)
			continue
		}
		kept = slices.Delete(kept, at, at+1)
	}
	for _, k := range kept {
		v.note(&v.Doubled, "%s: %s of kind %s is in %s and was not sent, or not so often", caseKey, k.ID, k.Kind, where)
	}
}
