package dress

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/graph"
)

// European guides exchange a report as a document: a Bundle of type document
// whose first entry is a Composition (hl7.eu laboratory and imaging reports,
// http://hl7.eu/fhir/; R4, http://hl7.org/fhir/R4/documents.html). The graph
// stays as it is; the document is made beside it, for a target that takes one
// document per state of a case.
//
// Provenances stay out: author, attester and their times say it in a document.
// What the hospital owns is named by identifier, because a document must be
// readable without the server that it came from.
var _ = register(Dressing{
	Name:     "eu-document",
	Title:    "a document (Composition) in the European style, for targets that take one document per state",
	Document: true,
	apply: func(g graph.Graph) (graph.Graph, error) {
		var err error
		g.Document, err = document(g)
		return g, err
	},
})

var errNoReport = errors.New("the case has no endoscopy report to make a document of")

// The parts of a document that are no resource of the case are keyed by the
// case key, which is a keyed hash itself.
func documentKey(g graph.Graph, role string) string {
	sum := sha256.Sum256([]byte(g.CaseKey + "|" + role))
	return "k" + hex.EncodeToString(sum[:])[:40]
}

// document frames one state of a case. The same state gives the same bytes.
func document(g graph.Graph) ([]byte, error) {
	lead, at, err := report(g, "report/endoscopy")
	if err != nil {
		return nil, err
	}
	if lead == nil {
		return nil, errNoReport
	}
	composition, err := composition(g, lead, at)
	if err != nil {
		return nil, err
	}
	issued, _ := lead.Get("issued").(string)
	var b bytes.Buffer
	b.WriteString(`{"resourceType":"Bundle","meta":`)
	if err := write(&b, label(lead)); err != nil {
		return nil, err
	}
	// R4, bdl-9 and bdl-10: a document has an identifier, which names this
	// version of it, and a date.
	fmt.Fprintf(&b, `,"identifier":{"system":%q,"value":%q},"type":"document","timestamp":%q,"entry":[`,
		graph.RoleKeySystem, documentKey(g, "document/"+strconv.Itoa(g.Sequence)), issued)
	fmt.Fprintf(&b, `{"fullUrl":"urn:uuid:%s","resource":`, uuidOf(documentKey(g, "composition")))
	b.Write(named(composition))
	b.WriteByte('}')
	for _, r := range g.Resources {
		if r.Type != "Provenance" {
			fmt.Fprintf(&b, `,{"fullUrl":%q,"resource":`, r.Reference())
			b.Write(named(r.Body))
			b.WriteByte('}')
		}
	}
	b.WriteString(`]}`)
	return b.Bytes(), nil
}

// report returns the resource of a role and what refers to it, nil when the
// case has none.
func report(g graph.Graph, role string) (*model.Object, string, error) {
	for _, r := range g.Resources {
		if r.Role == role {
			o, err := model.ParseObject(r.Body)
			return o, r.Reference(), err
		}
	}
	return nil, "", nil
}

// label is the meta of what frames the case: its test label and its case key.
func label(lead *model.Object) *model.Object {
	out := &model.Object{}
	if meta, ok := lead.Get("meta").(*model.Object); ok {
		for _, name := range []string{"security", "tag"} {
			if v := meta.Get(name); v != nil {
				out.Set(name, v)
			}
		}
	}
	return out
}

func write(b *bytes.Buffer, o *model.Object) error {
	raw, err := o.JSON()
	b.Write(raw)
	return err
}

// owned is a reference to what the hospital owns, as mapping writes it.
var owned = regexp.MustCompile(`"reference":"([A-Z][A-Za-z]+)\?identifier=([^"|]+)\|([^"]+)"`)

// named exchanges the references that only a server could resolve for the
// identifiers in them.
func named(body []byte) []byte {
	return owned.ReplaceAllFunc(body, func(hit []byte) []byte {
		m := owned.FindSubmatch(hit)
		system, value := unescape(m[2]), unescape(m[3])
		out, _ := json.Marshal(value) // a string always encodes
		in, _ := json.Marshal(system)
		return fmt.Appendf(nil, `"type":"%s","identifier":{"system":%s,"value":%s}`, m[1], in, out)
	})
}
