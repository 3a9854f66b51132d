package pseudo

import (
	"encoding/json"
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// Verdict is what becomes of a field.
type Verdict string

// The verdicts.
const (
	// Leaves: as it stands.
	Leaves Verdict = "leaves"
	// Changed: it leaves, but not as it stands.
	Changed Verdict = "changed"
	// Stays: it does not leave.
	Stays Verdict = "stays"
)

// Reason is a fixed word for the verdict.
type Reason string

// The reasons; [Reason.Sentence] says them to people.
const (
	Allowed       Reason = "allowed"
	Rekeyed       Reason = "re-keyed"
	Pseudonym     Reason = "pseudonym"
	Moved         Reason = "moved"
	Cut           Reason = "cut-to-month"
	Banded        Reason = "banded"
	Masked        Reason = "masked"
	Labelled      Reason = "labelled"
	NotListed     Reason = "not-listed"
	TypeNotListed Reason = "type-not-listed"
	FreeText      Reason = "free-text"
	UnknownCode   Reason = "unknown-code"
	NotAWord      Reason = "not-a-listed-word"
	LeadsOut      Reason = "leads-out"
	TooPrecise    Reason = "too-precise"
	NothingLeft   Reason = "nothing-left"
)

var sentences = map[Reason]string{
	Allowed:       "The allow-list names it, and it tells nothing about a person.",
	Rekeyed:       "The key is made anew with the recipient's secret, in the recipient's own system.",
	Pseudonym:     "The patient's identifier is replaced by a pseudonym made with the recipient's secret.",
	Moved:         "Moved back by the number of days that all dates of this patient move; times are in UTC.",
	Cut:           "Cut to year and month.",
	Banded:        "An age above 89 years is given as 90 or more (45 CFR 164.514(b)(2)(i)(C)).",
	Masked:        "R4 requires the element; it says that the value was masked.",
	Labelled:      "The label says that the record is pseudonymised.",
	NotListed:     "The allow-list does not name it.",
	TypeNotListed: "The allow-list does not name this type of resource.",
	FreeText:      "Words for people are free text; the codes beside them say what may be said.",
	UnknownCode:   "The code or its display is in no table whose codes may leave.",
	NotAWord:      "It is not one of the words on the allow-list.",
	LeadsOut:      "It leads to something that does not leave.",
	TooPrecise:    "An instant cannot be cut to the month.",
	NothingLeft:   "What R4 requires of it may not leave, and without it says nothing.",
}

// Sentence is the reason for people.
func (r Reason) Sentence() string { return sentences[r] }

// Field is what becomes of one field of one resource.
type Field struct {
	// Role and Type say of which resource.
	Role string `json:"role"`
	Type string `json:"type"`
	// Path is the elements from the resource down, without list indices; empty
	// for the resource as a whole.
	Path    string  `json:"path"`
	Verdict Verdict `json:"verdict"`
	Reason  Reason  `json:"reason"`
	// From is the value before, To the value that leaves.
	From string `json:"from,omitempty"`
	To   string `json:"to,omitempty"`
}

// Preview makes the graph that the recipient would get, and says field by field
// what becomes of the one that comes in. The fields hold patient data.
func (r *Recipient) Preview(g graph.Graph) (graph.Graph, []Field, error) {
	var fields []Field
	out, err := r.apply(g, func(f Field) { fields = append(fields, f) })
	return out, fields, err
}

func (w *work) tell(path string, v Verdict, why Reason, from, to string) {
	if w.note != nil {
		w.note(Field{w.role, w.kind, path, v, why, from, to})
	}
}

// stays tells every value below a field that does not leave.
func (w *work) stays(path string, value any, why Reason) {
	if w.note == nil {
		return
	}
	switch v := value.(type) {
	case *model.Object:
		for name, below := range v.Members() {
			if path == "" && name == "resourceType" {
				continue
			}
			w.stays(join(path, name), below, why)
		}
	case []any:
		for _, below := range v {
			w.stays(path, below, why)
		}
	default:
		w.tell(path, Stays, why, render(value), "")
	}
}

func render(value any) string {
	switch v := value.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	case bool:
		return strconv.FormatBool(v)
	}
	return ""
}
