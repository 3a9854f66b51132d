package server_test

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
)

// The life of a case: every state that its two reports pass through, from the
// first draft to the withdrawal.

// step is one document in the life of a case, and the statuses that both
// reports must have once it is delivered ("" while there is no such report).
type step struct {
	name, path string
	body       []byte
	endoscopy  string
	pathology  string
}

// life is a case of its own: its sender, its order and its patient exist in no
// other test, so that one server serves many.
type life struct {
	t   *testing.T
	own string
}

func newLife(t *testing.T) life { return life{t, uuid.NewString()} }

// document is an example with its identities made this life's own and changed
// by edit, which may be nil. Digits stay as they are.
func (l life) document(name string, edit func(map[string]any)) []byte {
	l.t.Helper()
	raw := bytes.ReplaceAll(example(l.t, name), []byte("https://hospital.example/"), []byte("https://hospital.example/"+l.own+"/"))
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.UseNumber()
	var tree map[string]any
	require.NoError(l.t, decoder.Decode(&tree))
	if edit != nil {
		edit(tree)
	}
	out, err := json.Marshal(tree)
	require.NoError(l.t, err)
	return out
}

// report is a revision of the endoscopist's report.
func (l life) report(revision int, status, reason, at string, more func(map[string]any)) []byte {
	return l.document(bleedReport, func(d map[string]any) {
		d["revision"], d["status"], d["written_at"], d["signed_at"] = revision, status, at, at
		if reason != "" {
			d["status_reason"] = reason
		}
		if status == "draft" {
			delete(d, "signed_at")
		}
		if more != nil {
			more(d)
		}
	})
}

// histology is a revision of what the laboratory found.
func (l life) histology(revision int, at string, more func(found map[string]any)) []byte {
	return l.document(bleedHistology, func(d map[string]any) {
		d["revision"], d["recorded_at"] = revision, at
		found := d["results"].([]any)[0].(map[string]any)["histology"].(map[string]any)
		found["issued_at"] = at
		if more != nil {
			more(found)
		}
	})
}

// otherWall is a slip of the pen put right.
func otherWall(d map[string]any) {
	d["lesions"].([]any)[0].(map[string]any)["examination"].(map[string]any)["wall"] = "anterior"
}

// deeper is another reading of the same slides: beyond 500 µm, so that the
// curability changes with it (JGES guideline 2021: eCura B to C-2; Dig Endosc
// 2021;33:4, doi:10.1111/den.13882).
func deeper(found map[string]any) {
	found["status"], found["pt"], found["depth_um"] = "amended", "pT1b-SM2", 620
}

// steps are a whole life. R4 has one status for each of them
// (hl7.org/fhir/R4/valueset-diagnostic-report-status.html): appended is "new
// information, nothing changed", amended "content changed", corrected "an error
// put right".
func (l life) steps() []step {
	signedAt, slip := "2026-03-10T17:20:00+01:00", "Wall put right: anterior."
	return []step{
		{"draft", "/cases", l.report(1, "draft", "", "2026-03-10T15:05:00+01:00", nil), "preliminary", ""},
		{"signed", "/cases", l.report(2, "signed", "", signedAt, nil), "final", ""},
		{"histology", "/histology", l.histology(1, "2026-03-16T15:00:00+01:00", nil), "appended", "final"},
		{"addendum", "/events", l.document(bleedEvents, nil), "appended", "final"},
		{"changed interpretation", "/histology", l.histology(2, "2026-03-20T09:00:00+01:00", deeper), "appended", "amended"},
		{"error put right", "/cases", l.report(3, "corrected", slip, "2026-03-21T08:00:00+01:00", otherWall), "corrected", "amended"},
		{"late event", "/events", l.document(bleedEventsLater, nil), "corrected", "amended"},
		{"withdrawn", "/cases", l.report(4, "withdrawn", "Entered for the wrong patient.", "2026-03-24T08:00:00+01:00", otherWall),
			"entered-in-error", "entered-in-error"},
	}
}
